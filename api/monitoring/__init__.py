"""Figures for whoever watches the service."""
