"""What a table's controller holds: keyings, settings found, what fits, what it sells."""
