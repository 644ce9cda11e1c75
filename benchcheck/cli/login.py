"""The name under which events are recorded when none is given."""

from __future__ import annotations


def login_name() -> str:
    """Who is logged in, as far as the system says."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"
