"""Taxes inside the price, with dated rates."""
