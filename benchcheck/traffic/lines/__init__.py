"""Serial lines: sentences, protocols, speeds, talkers."""
