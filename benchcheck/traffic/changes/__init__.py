"""What changed between two recordings."""
