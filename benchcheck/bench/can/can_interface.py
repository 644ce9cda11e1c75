"""What is known of each python-can interface: the one table, and the honest answer where nothing is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class PassiveState(StrEnum):
    """How silent this bench is on the bus, and how we know."""

    PROVED = "proved"  # a lone talker stayed unacknowledged here
    BY_THE_ADAPTERS_WORD = "by the adapter's word"
    UNPROVED = "unproved"
    ACKNOWLEDGES = "acknowledges"


@dataclass(frozen=True, slots=True)
class Passive:
    """The state, and the sentence for screen and report."""

    state: PassiveState
    sentence: str


@dataclass(frozen=True, slots=True)
class InterfaceFacts:
    """error_frames: whether it hands on error frames. open_options: what else `can.Bus` is given. sets_bitrate: whether the
    bit rate that it is given is the one that it takes.

    fd_options: what opens it for FD frames; None: that is not known here.
    silent_options / silent: what asks for silence, and what that is worth.
    """

    error_frames: bool = False
    open_options: Mapping[str, object] = field(default_factory=dict)
    fd_options: Mapping[str, object] | None = None
    silent_options: Mapping[str, object] = field(default_factory=dict)
    silent: Passive = Passive(
        PassiveState.UNPROVED, "unproved whether this interface is silent: it may acknowledge what it hears"
    )
    acknowledging: Passive = Passive(
        PassiveState.ACKNOWLEDGES, "this interface acknowledges: frames of a lone unit are acknowledged by this bench"
    )
    is_serial: bool = False
    sets_bitrate: bool = True


_UNKNOWN = InterfaceFacts()
_FACTS = {
    # opened by serial_can.py: here stands what is known where the adapter did not answer
    "slcan": InterfaceFacts(
        silent=Passive(
            PassiveState.UNPROVED,
            "silent mode was asked for, unproved: the adapter said neither yes nor no",
        ),
        is_serial=True,
    ),
    # the kernel's own settings decide, and they are made outside this program
    "socketcan": InterfaceFacts(error_frames=True, sets_bitrate=False, fd_options={"fd": True}),
    "virtual": InterfaceFacts(
        error_frames=True,
        sets_bitrate=False,
        silent=Passive(PassiveState.BY_THE_ADAPTERS_WORD, "no wire here: nothing can be acknowledged"),
        acknowledging=Passive(PassiveState.BY_THE_ADAPTERS_WORD, "no wire here: nothing can be acknowledged"),
    ),
}


def facts(interface: str) -> InterfaceFacts:
    """What is known of `interface`; for one that is not in the table, nothing is claimed."""
    return _FACTS.get(interface, _UNKNOWN)
