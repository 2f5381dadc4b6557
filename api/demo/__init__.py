"""The invented route."""
