"""Every table of the route on one list: where it is, what it holds, what it needs."""
