"""What was in the box, what should have been, and what is odd about it."""
