"""Bytes of a line as text that can be shown anywhere."""

from __future__ import annotations


def shown_bytes(data: bytes) -> str:
    """Printable ASCII as it is, every other byte, and the backslash, as `\\x1b`."""
    return "".join(chr(byte) if 0x20 <= byte < 0x7F and byte != 0x5C else f"\\x{byte:02x}" for byte in data)
