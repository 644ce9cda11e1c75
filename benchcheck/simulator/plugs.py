"""Shorting plugs, coded plugs and clips of the simulated bench: what they put between contacts and chassis.

Written apart from the network that predicts readings, so that the one checks the other: a plug is built from the
resistors that its maker bought.
"""

from __future__ import annotations

from collections.abc import Iterator
from zlib import crc32

from benchcheck.harness.model import Harness
from benchcheck.simulator.names import contacts_of
from benchcheck.words.bench_state import BenchState

LINK_OHM = 0.04  # a clip or a link of a plug, its lead to chassis included (common practice, no source)
RESISTOR_SCATTER = 0.009  # what the resistors of a coded plug differ from their marking, one percent ones

# IEC 60063, series E48, one decade (from memory).
E48 = (
    *(100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169, 178, 187, 196, 205),
    *(215, 226, 237, 249, 261, 274, 287, 301, 316, 332, 348, 365, 383, 402, 422, 442),
    *(464, 487, 511, 536, 562, 590, 619, 649, 681, 715, 750, 787, 825, 866, 909, 953),
)


def to_chassis(harness: Harness, state: BenchState, seed: int) -> Iterator[tuple[str, str, float]]:
    """Contact, chassis and ohms of everything that plugs and clips join in a bench state."""
    chassis = harness.chassis
    held = set(state.links)
    for ref in state.plugs:
        held.update(contacts_of(harness.connectors[ref]))
    for contact in sorted(held):
        if contact != chassis:
            yield contact, chassis, LINK_OHM
    for ref in sorted(state.coded):
        for place, contact in enumerate(contacts_of(harness.connectors[ref])):
            marked = E48[place % len(E48)] * 10 ** (place // len(E48))
            off = crc32(f"{seed}/coded/{contact}".encode()) / 0xFFFFFFFF * 2 - 1 if seed else 0.0
            yield contact, chassis, marked * (1 + RESISTOR_SCATTER * off)
