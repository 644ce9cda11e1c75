"""No volts: units out and feeds on, no other contact of a unit's connectors may carry a feed."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.power import feed_state, feeds_of_contacts, is_converter, main_feed, power_pairs
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import join
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

NO_CONNECTORS = ("stud", "splice", "terminals")


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
        main, states = main_feed(harness), [feed_state(harness, feed) for feed in harness.feeds]
        if main is None:
            return
        fed = feeds_of_contacts(harness)
        paired = {contact for pair in power_pairs(harness) for contact in (pair.power, pair.ground)}
        all_on = max(states, key=lambda state: len(state.on_unit))
        least = min(states, key=lambda state: len(state.on_unit))
        for connector in harness.connectors.values():
            if connector.family in NO_CONNECTORS:
                continue
            unit = harness.units.get(connector.unit)
            # A converter's own contacts are read before it goes in, all others with every feed on.
            state = least if unit is not None and is_converter(unit) else all_on
            for pin in connector.contacts:
                contact = join(connector.ref, pin)
                on_ground = context.nets.together(contact, main.ground)
                if context.nets.net_of(contact) is None or contact in fed or contact in paired or on_ground:
                    continue
                yield self._step(context, connector.unit, contact, main.ground, state)

    def _step(self, context: Context, unit: str, contact: str, ground: str, state: BenchState) -> Step:
        limit_v = context.harness.limits.near_zero_v
        return Step(
            id=f"no_volts:{contact}",
            check=self.name,
            stage=self.stage,
            quantity=Quantity.VOLTS,
            state=state,
            question=f"is {contact} free of any feed?",
            subject=(unit, contact) if unit else (contact,),
            red=contact,
            black=ground,
            band=Band(-limit_v, limit_v, "V", "profile limit near_zero_v"),
            note="against the supply's own return, which no broken ground can lift",
            settings={"unit": unit},
        )
