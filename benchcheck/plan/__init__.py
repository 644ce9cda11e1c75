"""Which steps, in which bench states, in which order."""
