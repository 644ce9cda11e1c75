"""No volts: units out and feeds on, no other contact of a unit's connectors may carry a feed."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.model import Role
from benchcheck.harness.power import connectors_of, feed_state, feeds_of_contacts, is_converter
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import join
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band


@check_kind
class NoVolts(CheckKind):
    name = "no_volts"
    stage = Stage.POWER
    rank = 80
    title = "No feed volts at any other contact, units out"
    reasons = {
        "live": "there are volts where none belong: do not plug the unit in; look for a swapped or joined conductor"
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        states = [feed_state(harness, feed) for feed in harness.feeds]
        if not states:
            return
        fed = feeds_of_contacts(harness)
        all_on = max(states, key=lambda state: len(state.on_unit))
        for unit in harness.units.values():
            # A converter's own contacts are read before it goes in, all others with every feed on.
            state = min(states, key=lambda s: len(s.on_unit)) if is_converter(unit) else all_on
            for ref in sorted(connectors_of(harness, unit.ref)):
                for pin in harness.connectors[ref].contacts:
                    contact = join(ref, pin)
                    entry = harness.unit_contact(contact)
                    powered = entry is not None and entry.role in (Role.POWER, Role.GROUND)
                    if context.nets.net_of(contact) is None or powered or contact in fed:
                        continue
                    yield self._step(context, unit.ref, contact, state)

    def _step(self, context: Context, unit: str, contact: str, state: BenchState) -> Step:
        limit_v = context.harness.limits.near_zero_v
        return Step(
            id=f"no_volts:{contact}",
            check=self.name,
            stage=self.stage,
            quantity=Quantity.VOLTS,
            state=state,
            question=f"is {contact} free of any feed?",
            subject=(unit, contact),
            red=contact,
            black=context.harness.chassis,
            band=Band(-limit_v, limit_v, "V", "profile limit near_zero_v"),
            settings={"unit": unit},
        )
