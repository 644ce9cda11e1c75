"""Which runs are proved through a coded plug at their far end, and at which connectors these plugs go on.

With a coded plug both leads stay at the near end: red on the near contact, black on chassis. The resistor that is read
names the contact in which the conductor ends. That works where the run's group has one contact in the plugged
connector, and where nothing but the run joins its two ends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from benchcheck.harness.bundle import CLIPPED_FAMILIES
from benchcheck.harness.conducting import Conducting
from benchcheck.harness.model import Connector, Harness, Role, Run
from benchcheck.harness.plug import CODE_PERCENT, code_ohm
from benchcheck.words.contact import join, pin_of, ref_of

# From this many runs on, carrying a plug to a connector is less work than a second lead there (own choice).
WORTH_A_PLUG = 4


@dataclass(frozen=True, slots=True)
class CodedRun:
    """A run, the contact at which both leads are, and the one that has the resistor."""

    run: Run
    near: str
    far: str

    @property
    def plug(self) -> str:
        """The connector that has the coded plug."""
        return ref_of(self.far)


def codes(connector: Connector) -> dict[str, float]:
    """Contact -> its resistor in a coded plug on this connector, in ohms."""
    return {join(connector.ref, pin): code_ohm(index) for index, pin in enumerate(connector.contacts)}


def tolerance_ohm(ohm: float, uncertainty_ohm: Callable[[float], float]) -> float:
    """What a reading of a resistor of `ohm` may be off, in ohms: the resistor itself, and the meter."""
    return ohm * CODE_PERCENT / 100 + uncertainty_ohm(ohm)


def told_apart(connector: Connector, uncertainty_ohm: Callable[[float], float]) -> bool:
    """Whether a meter tells every resistor of a plug from the next."""
    ohms = sorted(codes(connector).values())
    return all(
        high - low > tolerance_ohm(low, uncertainty_ohm) + tolerance_ohm(high, uncertainty_ohm)
        for low, high in pairwise(ohms)
    )


def coded_runs(
    harness: Harness,
    groups: Conducting,
    *,
    alone: Callable[[Run], bool],
    uncertainty_ohm: Callable[[float], float],
) -> Mapping[str, CodedRun]:
    """Wire number -> how it is coded. The connector that settles most runs gets a plug first, until none is worth it.

    alone            whether nothing but this run joins its ends
    uncertainty_ohm  of the meter, at a reading
    """
    able: dict[str, list[CodedRun]] = {}
    counts = _contacts_by_group(harness, groups)
    partly, chassis = groups.joined_to_others(), groups.number[harness.chassis]
    for run in harness.wired_runs:
        if not run.b or run.role is Role.BRIDGE:
            continue
        group = groups.number[run.a]
        if group == chassis or group in partly:
            continue
        ways = [CodedRun(run, near, far) for near, far in ((run.a, run.b), (run.b, run.a)) if near != far]
        ways = [way for way in ways if ref_of(way.near) != way.plug and counts.get((way.plug, group)) == 1]
        ways = [way for way in ways if _takes_plug(harness, way.far)]
        if ways and alone(run):
            for way in ways:
                able.setdefault(way.plug, []).append(way)
    able = {ref: ways for ref, ways in able.items() if told_apart(harness.connectors[ref], uncertainty_ohm)}
    found: dict[str, CodedRun] = {}
    while able:
        left = {ref: [way for way in ways if way.run.wire not in found] for ref, ways in able.items()}
        best = max(left, key=lambda ref: len(left[ref]))
        if len(left[best]) < WORTH_A_PLUG:
            break
        found |= {way.run.wire: way for way in left[best]}
        del able[best]
    return found


def _takes_plug(harness: Harness, contact: str) -> bool:
    connector = harness.connectors.get(ref_of(contact))
    return connector is not None and connector.family not in CLIPPED_FAMILIES and pin_of(contact) in connector.contacts


def _contacts_by_group(harness: Harness, groups: Conducting) -> dict[tuple[str, int], int]:
    """How many contacts a group has in a connector."""
    found: dict[tuple[str, int], int] = {}
    for connector in harness.connectors.values():
        for pin in connector.contacts:
            group = groups.number.get(join(connector.ref, pin))
            if group is not None:
                found[connector.ref, group] = found.get((connector.ref, group), 0) + 1
    return found
