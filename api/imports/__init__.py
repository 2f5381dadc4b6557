"""Spreadsheets in: venues, tables, prices, agreements, readings, collections and opening balances, line by line."""
