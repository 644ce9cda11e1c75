"""What an order costs: the one place where lead moves, connector changes, zone changes and the bench are weighed.

The technician has two leads. For each probing step (ohms or volts) each lead must touch its contact; a lead that is
there already stays and costs nothing. From one step to the next this is counted:

    lead move          a lead put on another contact
    connector change   a lead put into another connector: find it, take its cap off, hold it anew
    zone change        the technician goes to another place: of the zones in which leads are picked up and put down for
                       a step, all but one must be gone to (the way there is taken as the shortest, so that never more
                       is counted than is walked)
    bench change       each thing that `BenchState.changes_to` lists
    reading            each reading of the meter, and for a step under load the load that is joined and parted

The two leads of an ohms reading are alike, and go the shorter way round (`plan.leads`: the same rule tells the
technician); red and black of a volts reading are not. The first step puts both leads down; the way to it is not counted. Zones are compared by name;
connectors without one are all in one unnamed zone.

The seconds are common practice, no source. They say what is dear and what is cheap, and so steer the order: a lead
put on one contact of fifty (read the number, count, seat the test contact, read the number again) takes the most of
them all together, and each time is a chance to take the wrong one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from benchcheck.plan.leads import IN_HAND, LeadRule, Leads, put_down
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import ref_of
from benchcheck.words.step import Quantity, Step

MOVE_S = 12
CONNECTOR_S = 3
ZONE_S = 8
READ_S = 4
CHANGE_S = 20
LOAD_S = 60
AMPS_S = 6
LISTEN_S = 15

PROBED = (Quantity.OHMS, Quantity.VOLTS)


@dataclass(frozen=True, slots=True)
class Effort:
    """How often each thing is done."""

    moves: int = 0
    connectors: int = 0
    zones: int = 0
    changes: int = 0
    readings: int = 0
    loads: int = 0
    amps: int = 0
    listening: int = 0

    @property
    def seconds(self) -> float:
        return float(
            self.moves * MOVE_S
            + self.connectors * CONNECTOR_S
            + self.zones * ZONE_S
            + self.changes * CHANGE_S
            + self.readings * READ_S
            + self.loads * LOAD_S
            + self.amps * AMPS_S
            + self.listening * LISTEN_S
        )


def is_probed(step: Step) -> bool:
    """Whether the leads are put down for a step."""
    return step.quantity in PROBED


def lead_places(now: Leads, step: Step, rule: LeadRule) -> Leads:
    """Where red and black go for a probing step, from where they are."""
    alike = step.quantity is Quantity.OHMS and rule.alike(step.red, step.black, step.state)
    return put_down(now, step.red, step.black, alike=alike)


def effort(steps: Iterable[Step], zones: Mapping[str, str], rule: LeadRule) -> Effort:
    """What steps cost in the order given, from leads in the hand and an open bench.

    zones  connector -> where it is
    """
    moves = connectors = walks = changes = 0
    leads = IN_HAND
    state = ALL_OPEN
    counts = dict.fromkeys(Quantity, 0)
    loads = 0
    for step in steps:
        if step.state is not state and step.state != state:
            changes += len(state.changes_to(step.state))
        state = step.state
        counts[step.quantity] += 1
        loads += step.load_a > 0
        if is_probed(step):
            then, leads = leads, lead_places(leads, step, rule)
            visited = set()
            for old, new in zip(then, leads, strict=True):
                if old != new:
                    moves += 1
                    connectors += not old or ref_of(old) != ref_of(new)
                    visited |= {zones.get(ref_of(contact), "") for contact in (old, new)}
            if then != IN_HAND:
                walks += max(0, len(visited) - 1)
    return Effort(moves, connectors, walks, changes, **_fixed(counts, loads))


def _fixed(counts: Mapping[Quantity, int], loads: int) -> dict[str, int]:
    """What no order changes."""
    return {
        "readings": counts[Quantity.OHMS] + counts[Quantity.VOLTS],
        "loads": loads,
        "amps": counts[Quantity.AMPS],
        # all buses are listened to at once
        "listening": counts[Quantity.LINE] + counts[Quantity.LOOP] + bool(counts[Quantity.CAN]),
    }
