"""One request, one transaction: auth, errors, the contract."""
