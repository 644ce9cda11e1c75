"""Isolation: is there nothing between contacts that nothing should join?

A meter on its ohms range looks with about half a volt. That finds a strand across two contacts; it is not
an insulation resistance test, and is never called one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.families import neighbours
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import contact_key, join
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

ISOLATION_SOURCE = "profile limit isolation_ohm; coarse dc isolation over 1 Mohm is NASA practice"


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


def isolation_step(check: str, context: Context, red: str, black: str, why: str) -> Step:
    """A step that wants more than the isolation limit between two contacts."""
    meter, limit_ohm = context.meter, context.harness.limits.isolation_ohm
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
        band=Band(limit_ohm, None, "ohm", ISOLATION_SOURCE),
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
    drains = {run.wire: run.a for run in harness.runs if run.role == "shield"}
    for run in harness.runs:
        if run.shield in drains and run.role != "shield":
            yield run.a, drains[run.shield], "core to shield"
    cables: dict[str, list[str]] = {}
    for run in harness.runs:
        if run.cable and run.role != "shield":
            cables.setdefault(run.cable, []).append(run.a)
    for ends in cables.values():
        for i, a in enumerate(ends):
            for b in ends[i + 1 :]:
                yield a, b, "in one cable"
