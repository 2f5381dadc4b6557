"""Who may ask."""
