"""Captures played again."""
