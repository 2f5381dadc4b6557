"""Prices that suit stated aims: an exhaustive search over what a controller can hold; it proposes, the owner publishes."""
