"""Tables, where each has been, what its operator states of it."""
