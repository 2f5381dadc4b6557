"""Battery, clock and meters of a table, judged; stores only the levels to judge by."""
