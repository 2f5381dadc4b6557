"""What needs doing, where, why and by when."""
