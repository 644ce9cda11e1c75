"""Listening to buses and lines, live."""
