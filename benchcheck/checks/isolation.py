"""Isolation: is there nothing between contacts that nothing should join?

A meter on its ohms range looks with about half a volt. That finds a strand across two contacts; it is not
an insulation resistance test, and is never called one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.families import neighbours
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import contact_key, join
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

ISOLATION_SOURCE = "profile limit isolation_ohm; coarse dc isolation over 1 Mohm is NASA practice"
# What planned parts leave between two nets may read this much less: tolerances of parts, wire and meter
# (common practice, no source).
PLANNED_PART = 0.8


@check_kind
class Isolation(CheckKind):
    name = "isolation"
    stage = Stage.DEAD
    rank = 30
    title = "Isolation between neighbours, to chassis, to shield, within a cable"
    reasons = {
        "joined": "something joins them; look for a strand across two contacts, a pinched wire, a conductor in the wrong cavity"
    }

    def steps(self, context: Context) -> Iterable[Step]:
        # One reading proves two whole conducting groups apart, wherever it is taken: each pair of groups once.
        seen: set[frozenset[frozenset[str]]] = set()
        circuit = context.circuit(ALL_OPEN)
        for red, black, why in _pairs(context):
            groups = frozenset((circuit.component(red), circuit.component(black)))
            if len(groups) == 2 and groups not in seen:
                seen.add(groups)
                yield isolation_step(self.name, context, red, black, why)


def least_band(context: Context, expected_ohm: float, floor_ohm: float = 0.0) -> Band:
    """At least the isolation limit; less where planned parts join the two, but never less than `floor_ohm`."""
    limit_ohm = context.harness.limits.isolation_ohm
    if math.isinf(expected_ohm) or PLANNED_PART * expected_ohm >= limit_ohm:
        return Band(limit_ohm, None, "ohm", ISOLATION_SOURCE)
    planned_ohm = PLANNED_PART * expected_ohm
    text = f"computed: planned parts and wire join them with {expected_ohm:.4g} ohm; {PLANNED_PART:g} of that"
    if planned_ohm < floor_ohm:
        text += f" is below the profile limit supply_to_ground_ohm, {floor_ohm:g} ohm, which holds"
    return Band(max(planned_ohm, floor_ohm), None, "ohm", text)


def isolation_step(check: str, context: Context, red: str, black: str, why: str, floor_ohm: float = 0.0) -> Step:
    """A step that wants two contacts apart: the isolation limit, or what planned parts leave between them."""
    meter = context.meter
    return Step(
        id=f"{check}:{red}:{black}",
        check=check,
        stage=Stage.DEAD,
        quantity=Quantity.OHMS,
        state=ALL_OPEN,
        question=f"is {red} apart from {black} ({why})?",
        subject=(red, black),
        red=red,
        black=black,
        band=least_band(context, context.circuit(ALL_OPEN).ohms(red, black), floor_ohm),
        note=f"read with {meter.ohm_test_volts:g} V up to {meter.ohm_max / 1e6:g} Mohm by {meter.name}; not an insulation resistance test",
    )


def _pairs(context: Context) -> Iterator[tuple[str, str, str]]:
    harness, nets = context.harness, context.nets
    for connector in harness.connectors.values():
        populated = {pin for pin in connector.contacts if nets.net_of(join(connector.ref, pin)) is not None}
        for a, b in sorted(neighbours(connector.rows), key=lambda pair: [contact_key(pin) for pin in pair]):
            if a in populated and b in populated:
                yield join(connector.ref, a), join(connector.ref, b), "neighbours"
    chassis = harness.chassis
    for members in nets.all_members():
        if chassis not in members:
            yield members[0], chassis, "to chassis"
    drains = {run.wire: run.a for run in harness.wired_runs if run.role == "shield"}
    for run in harness.wired_runs:
        if run.shield in drains and run.role != "shield":
            yield run.a, drains[run.shield], "core to shield"
    cables: dict[str, list[str]] = {}
    for run in harness.wired_runs:
        if run.cable and run.role != "shield":
            cables.setdefault(run.cable, []).append(run.a)
    for ends in cables.values():
        for i, a in enumerate(ends):
            for b in ends[i + 1 :]:
                yield a, b, "in one cable"
