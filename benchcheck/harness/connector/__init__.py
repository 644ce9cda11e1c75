"""Connectors as things: families, where their contacts lie, how one is touched, what fits into it."""
