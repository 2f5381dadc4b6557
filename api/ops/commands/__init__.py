"""What each command does, a file for each command: only the file of the one that was typed is loaded."""
