"""Agreements, and how money is divided."""
