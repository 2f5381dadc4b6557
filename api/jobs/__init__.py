"""What broke, and who mends it."""
