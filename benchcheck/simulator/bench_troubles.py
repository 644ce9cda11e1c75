"""What may be wrong with the bench itself, not with the harness on it: adapters that refuse, lose or garble.

A harness may be fine on such a bench: the tool must say UNSURE, and why, and never blame a unit.
"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.words.errors import InputError

REFUSES_SILENCE = "refuses-silence"
LOSES_FRAMES = "loses-frames"
GARBLES = "garbles"
SEES_ERRORS = "sees-errors"

TROUBLES = {
    REFUSES_SILENCE: "the CAN adapters refuse silent mode",
    LOSES_FRAMES: "every tenth frame is lost in the CAN adapters, which say so when asked for their status",
    GARBLES: "every tenth line of the CAN adapters comes damaged",
    SEES_ERRORS: "the CAN adapters' status tells of bus errors",
}


def checked(names: Iterable[str]) -> frozenset[str]:
    """The troubles by name. Raises InputError for one that there is not."""
    found = frozenset(names)
    for name in sorted(found - TROUBLES.keys()):
        raise InputError(f"no trouble {name!r}", hint=f"There are {', '.join(TROUBLES)}.")
    return found
