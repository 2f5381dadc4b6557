"""Calendars to subscribe to: a venue's windows, and work on the day it is due."""
