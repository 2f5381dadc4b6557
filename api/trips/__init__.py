"""Trips: who drives where, in which order, and the one sheet to take along."""
