"""How common each fault is, before anything was read: the one place for it.

The numbers are chances for one place of its kind (a run, a pair of contacts, a bus, a connector) in a harness that was wired by hand
and is probed for the first time. They are common practice, no source: what matters is which fault is likelier than which,
and by about how much. An open end is the usual one; exchanged neighbours and a wrong cavity come next; what takes two
hands, or a resistor that nobody fits by chance, is rare.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from benchcheck.words.squawk import SquawkKind

CHANCE: Mapping[SquawkKind, float] = {
    SquawkKind.OPEN_RUN: 4e-3,  # a run: not crimped, not seated, cut
    SquawkKind.MISSING_BRIDGE: 5e-3,  # a bridge: forgotten
    SquawkKind.MISSING_DRAIN: 5e-3,  # a drain: forgotten, or broken at the braid
    SquawkKind.HIGH_RESISTANCE: 1e-3,  # a run: a poor crimp that a meter sees without load
    SquawkKind.WRONG_CONTACT: 3e-3,  # an end of a run, over all the contacts it may sit in
    SquawkKind.SWAPPED_CONTACTS: 4e-4,  # a pair of contacts of one connector
    SquawkKind.CROSSED_TX_RX: 4e-3,  # a link at one connector: two drawings that say "transmit"
    SquawkKind.MIRRORED_NUMBERING: 2e-3,  # a connector: wired from the wrong face
    SquawkKind.ROWS_EXCHANGED: 1e-3,  # a connector
    SquawkKind.OFF_BY_ONE: 1e-3,  # a connector: a contact was counted twice, or left out
    SquawkKind.SHORT: 4e-4,  # a pair of contacts side by side: a strand, a pinched wire
    SquawkKind.MISSING_TERMINATOR: 1e-2,  # a terminator
    SquawkKind.EXTRA_TERMINATOR: 1e-3,  # a connector of a bus
    SquawkKind.WRONG_PART: 1e-3,  # a resistor or other part
    SquawkKind.BUS_CUT: 2e-3,  # a piece of the bus from one connector to the next, both wires
    SquawkKind.PROTECTOR_OPEN: 5e-3,  # a protector or switch
    SquawkKind.UNPOWERED_UNIT: 5e-3,  # a unit: not pushed home, its own fuse, switched off
    SquawkKind.SILENT_UNIT: 5e-3,  # a unit: not set up, faulty
    SquawkKind.LATE_UNIT: 3e-3,
    SquawkKind.INTERMITTENT_UNIT: 3e-3,
    SquawkKind.UNIT_CURRENT: 2e-3,
    SquawkKind.DEAD_TRANSMITTER: 2e-3,  # an output
    SquawkKind.SILENT_LINE: 3e-3,  # an output that holds its level and says nothing: not set up
    SquawkKind.INVERTED_LEVELS: 2e-3,
    SquawkKind.WRONG_BAUD: 1e-2,  # a talker: as it came from its maker
    SquawkKind.WRONG_TALKER: 3e-3,
    SquawkKind.EXCHANGED_TALKERS: 3e-3,  # two talkers that are both heard elsewhere
    SquawkKind.WRONG_RATE: 3e-3,
    SquawkKind.CONVERTER_OFF: 5e-3,
    SquawkKind.FEED_VOLTS: 5e-3,
    SquawkKind.CAN_LEVEL: 2e-3,
    SquawkKind.ERROR_FRAMES: 3e-3,
    SquawkKind.BUS_OVERLOAD: 3e-3,
    SquawkKind.UNEXPECTED_MESSAGE: 5e-3,
    SquawkKind.STUCK_SIGNAL: 3e-3,
    SquawkKind.ABSURD_SIGNAL: 3e-3,
}
OTHERWISE = 1e-4
# Where a connector has one fault, a further one there is this many times likelier: one hand, one day, one wrong list.
AGAIN_THERE = 10.0
# Somewhere, something that is not on the list: as a whole, and how much each reading that it is to explain speaks for it.
UNLISTED = math.log(1e-5)
UNLISTED_READING = 8.0  # in ohms
UNLISTED_VERDICT = 4.0  # of a step under power, which has few ways to come out


# What passed on the dead bench may have given way since: a connector was moved, a unit pushed in. So much a reading of before
# weighs against a fault that shows under power, at most (natural logarithm).
SINCE_THEN = 6.0


def log_chance(kind: SquawkKind, rarity: float) -> float:
    """The logarithm of how common a fault is; `rarity` times as common as the usual one of its kind."""
    return math.log(CHANCE.get(kind, OTHERWISE) * rarity)


def togetherness(places: Iterable[frozenset[str]]) -> float:
    """What faults of one story gain by lying together; `places`: the connectors of each."""
    seen: set[str] = set()
    gain = 0.0
    for refs in places:
        if seen & refs:
            gain += math.log(AGAIN_THERE)
        seen |= refs
    return gain
