"""The database, its migrations, the clock, settings, and which tables were touched."""
