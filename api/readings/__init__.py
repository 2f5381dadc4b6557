"""What tables report."""
