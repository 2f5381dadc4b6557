"""What if: two lists of prices side by side, and what past intake would have bought under each."""
