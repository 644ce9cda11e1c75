"""Serial lines, only listened to."""
