"""The name of a person, as typed: what can't be one."""

from __future__ import annotations

from benchcheck.words.errors import InputError
from benchcheck.words.quantity import parse_quantity

LONGEST = 100


def name_fault(typed: str) -> str:
    """Why `typed` is no name, empty where it may be one.

    At a bench the usual slip is a reading typed where a name was asked for: that must never count as a signature.
    """
    name = typed.strip()
    if not name:
        return "nothing was typed, and a name is wanted"
    if len(name) > LONGEST:
        return f"a name has at most {LONGEST} characters"
    if not any(sign.isalpha() for sign in name):
        return f"{name!a} is no name: it has no letter"
    for unit in ("ohm", "V", "A"):
        try:
            parse_quantity(name, unit)
        except InputError:
            continue
        return f"{name!a} is a reading, no name"
    return ""
