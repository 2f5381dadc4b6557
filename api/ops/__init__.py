"""The command line, and what running the service takes."""
