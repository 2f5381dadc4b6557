"""Figures for monitoring the service."""
