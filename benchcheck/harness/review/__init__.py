"""Paper review: one rule a file. A new rule is a new file here; nothing else lists it."""
