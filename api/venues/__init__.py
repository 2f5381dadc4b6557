"""Places, and what is dated about them."""
