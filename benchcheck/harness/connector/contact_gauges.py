"""Which gauges a crimp contact of a size holds."""

from __future__ import annotations

from collections.abc import Mapping

# Size -> thickest and thinnest gauge: usual ranges of machined crimp contacts, from memory.
CONTACT_GAUGES: Mapping[str, tuple[int, int]] = {
    "22D": (22, 28),
    "22M": (24, 28),
    "22": (22, 26),
    "20": (20, 24),
    "16": (16, 20),
    "12": (12, 14),
}
CONTACT_GAUGES_SOURCE = "usual ranges of machined crimp contacts by size (from memory)"


def gauges_of(size: str) -> tuple[int, int] | None:
    """The thickest and the thinnest gauge that a contact of a size holds; None where the size isn't known here."""
    return CONTACT_GAUGES.get(size.upper())
