"""What each table and venue earned, day by day."""
