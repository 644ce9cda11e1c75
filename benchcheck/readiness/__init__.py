"""What the events say: verdicts in force, open squawks, gates, what is next."""
