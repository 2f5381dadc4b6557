"""Statements, year, tax, over and short: reads only."""
