"""Dates for many venues at once: public holidays, or a set of your own, published as date entries of schedules."""
