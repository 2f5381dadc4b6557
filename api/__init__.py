"""Baizebook: the service with which you run a route of coin-operated pool tables."""

__version__ = "0.1.0"
