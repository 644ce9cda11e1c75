"""The terminal UI: shows state, sends intents. It opens no port; whoever starts it hands a Desk in.

This package imports Textual: import it only where the screens are opened.
"""
