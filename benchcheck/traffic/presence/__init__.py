"""Who is there, and how it is known."""
