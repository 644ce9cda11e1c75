"""Names of contacts: reference designator, dash, contact (`P101-4`).

`P101-shell` is the shell, `P101-ring` the ring terminal that gathers the connector's drains;
a stud (`GND2`) or splice (`SP3`) is its own single contact and has no dash.
An end that was lifted off its contact for one step is written `W231@GND2`: the lug of run W231.
"""

from __future__ import annotations

import re
from functools import lru_cache

SHELL = "shell"
RING = "ring"

_REF = re.compile(r"[A-Za-z][A-Za-z0-9_]*\Z")
_CONTACT = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?:-[A-Za-z0-9_]+)?\Z")


def is_ref(text: str) -> bool:
    """Whether `text` can be a reference designator (`P101`)."""
    return bool(_REF.match(text))


def is_contact(text: str) -> bool:
    """Whether `text` is written like a contact (`P101-4`, `GND2`)."""
    return bool(_CONTACT.match(text))


def ref_of(contact: str) -> str:
    """The reference designator of a contact: `P101` of `P101-4`, `GND2` of `GND2` or `W231@GND2`."""
    return contact.rpartition("@")[2].partition("-")[0]


def pin_of(contact: str) -> str:
    """What stands behind the dash: `4` of `P101-4`, nothing of `GND2`."""
    return contact.partition("-")[2]


def join(ref: str, pin: str) -> str:
    """`P101-4` from `P101` and `4`; `GND2` from `GND2` and nothing."""
    return f"{ref}-{pin}" if pin else ref


def lifted(wire: str, contact: str) -> str:
    """The lug of a run that was lifted off `contact`."""
    return f"{wire}@{contact}"


@lru_cache(maxsize=1 << 17)  # plans sort the same contacts again and again
def contact_key(contact: str) -> tuple[str, tuple[tuple[int, int, str], ...]]:
    """Sort key by which P101-2 stands before P101-10."""
    pieces = re.split(r"(\d+)", contact)
    return (ref_of(contact), tuple((0, int(p), "") if p.isdigit() else (1, 0, p) for p in pieces if p))
