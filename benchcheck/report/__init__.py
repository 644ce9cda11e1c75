"""HTML and JSON from one report model."""
