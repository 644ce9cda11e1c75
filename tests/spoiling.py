"""What work at a contact can spoil, planted in the resistor network, and whether given steps would see it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from benchcheck.harness.circuit import Circuit, Edge, circuit_of
from benchcheck.harness.connector.geometry import neighbours_of
from benchcheck.harness.model import Harness
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import join, pin_of, ref_of
from benchcheck.words.step import Quantity, Stage, Step

SHORT_OHM = 0.2


def spoilt(harness: Harness, contact: str, steps: Sequence[Step]) -> Iterator[tuple[str, bool]]:
    """Each fault that reseating `contact` can cause, in words, and whether a dead step among these reads it out of band.

    Shorts that change nothing (to the same net, or across less than they are) are no faults and are left out.
    """
    for run in harness.wired_runs:
        if contact in run.ends and run.b:
            own = [step for step in steps if step.check == "continuity" and step.subject[0] == run.wire]
            yield f"{run.wire} open at {contact}", any(_sees(harness, step, remove=run.wire) for step in own)
    whole = circuit_of(harness, ALL_OPEN)
    for other in beside(harness, contact):
        if whole.ohms(contact, other) > 20 and _is_wired(harness, other):
            yield f"{contact} on {other}", any(_sees(harness, step, short=(contact, other)) for step in steps)


def beside(harness: Harness, contact: str) -> list[str]:
    """Neighbours of a contact, and chassis."""
    ref, pin = ref_of(contact), pin_of(contact)
    pairs = neighbours_of(harness.connectors[ref])
    found = [join(ref, b if a == pin else a) for a, b in sorted(pairs) if pin in (a, b)]
    return [*found, harness.chassis]


def _is_wired(harness: Harness, contact: str) -> bool:
    ends = {end for run in harness.wired_runs for end in run.ends} | {e for p in harness.parts for e in (p.a, p.b)}
    return contact in ends


def _sees(harness: Harness, step: Step, *, remove: str = "", short: tuple[str, str] | None = None) -> bool:
    if step.quantity is not Quantity.OHMS or step.stage is not Stage.DEAD or step.band is None:
        return False
    circuit: Circuit = circuit_of(harness, step.state)
    added = [Edge("short", *short, SHORT_OHM)] if short else []
    ohms = circuit.altered(remove=[remove], add=added).ohms(step.red, step.black)
    low, high = step.band.low, step.band.high
    return (low is not None and ohms < low) or (high is not None and (math.isinf(ohms) or ohms > high))
