"""The books: entries, the chain, balances, exports."""
