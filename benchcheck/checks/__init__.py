"""One file per kind of check: its question, its limits, its verdict."""
