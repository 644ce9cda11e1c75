"""Capture files: pcapng written and read, logs imported and exported."""
