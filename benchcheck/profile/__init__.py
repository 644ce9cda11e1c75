"""Profile folders: read from disk, with their unit files and message databases."""
