"""One question: what an amount buys at a place and time."""
