"""The journal of a period for spreadsheets and plain-text accounting."""
