"""The terminal UI: shows state, sends intents."""
