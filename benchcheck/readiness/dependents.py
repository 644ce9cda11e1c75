"""Which steps rest on what was worked on: contacts that were pulled or wired anew, runs and parts.

By kind of check:

continuity, part values     those whose own contacts are among them
apart (isolation, feeds and bus wires against rails, no volts)
                            those of two conducting groups that came near each other there: a contact can touch its
                            neighbours, the shell, chassis and the shield of its core, a wire laid anew also what shares its cable. Where the
                            plan reads every pair of groups, every pair with a group that was worked on
volts and drop of a feed    those to which the current goes through there, on the way out or back, also of the feed
                            behind a converter
termination, levels, links, bus wires to rails
                            those of a conducting group that was worked on
what is heard on a bus      all of a bus whose wires were worked on
current of a unit           where a contact that lets the unit in is to be proved again
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import cached_property

from benchcheck.harness.buses import pairs
from benchcheck.harness.circuit import Circuit, circuit_of
from benchcheck.harness.conducting import Conducting, conducting
from benchcheck.harness.connector.geometry import neighbours_of
from benchcheck.harness.model import Feed, Harness, Role
from benchcheck.harness.nets import Nets
from benchcheck.harness.power import PowerPair, power_pairs
from benchcheck.plan.plan import Plan
from benchcheck.readiness.way import Way
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import contact_key, join, pin_of, ref_of
from benchcheck.words.step import Step
from benchcheck.words.ways import Isolation, Ways

APART = ("isolation", "supply_to_ground", "can_to_rail")
BETWEEN_OWN_CONTACTS = ("continuity", "run_resistance", "part_value")
OF_FEEDS = ("feed_volts", "feed_drop")
OF_GROUPS = ("termination", "rs232_idle", "can_level", "link_alive")
ON_BUS = ("unit_heard", "bus_load", "bus_errors", "bus_strangers", "signal_range")

Pair = frozenset[int]


class Dependents:
    """Asked about one harness and its plan, in the ways that the plan was made."""

    def __init__(self, harness: Harness, plan: Plan, ways: Ways | None = None) -> None:
        self.harness = harness
        self.plan = plan
        self._every_pair = (ways or Ways()).isolation is not Isolation.NEAR
        self._circuits: dict[BenchState, Circuit] = {}

    @cached_property
    def groups(self) -> Conducting:
        """The conducting groups, all connectors open."""
        return conducting(self.harness, Nets(self.harness), self.circuit(ALL_OPEN).edges.values())

    def circuit(self, state: BenchState) -> Circuit:
        """The harness in a bench state."""
        if state not in self._circuits:
            self._circuits[state] = circuit_of(self.harness, state)
        return self._circuits[state]

    def of_contacts(self, contacts: Collection[str]) -> dict[str, str]:
        """Step -> the contact that it rests on, for contacts that were pulled or reseated; in plan order."""
        worked_on = sorted(contacts, key=contact_key)
        near = self.near_pairs(worked_on)
        touched = self.groups_of(worked_on)
        ways = [(contact, Way(self.circuit(ALL_OPEN), contact)) for contact in worked_on]
        found: dict[str, str] = {}
        for step in self.plan.steps:
            own = self.own_contact(step, contacts)
            beside = own or self.near(step, near) or self.in_groups(step, touched)
            why = beside or (self.on_way(step, ways) if step.check in OF_FEEDS else "")
            if why:
                found[step.id] = why
        return self.in_order(found | self.currents(found))

    def in_order(self, found: Mapping[str, str]) -> dict[str, str]:
        """The same, in plan order."""
        return {step.id: found[step.id] for step in self.plan.steps if step.id in found}

    # --- own contacts ---------------------------------------------------------------------------------------------

    def own_contact(self, step: Step, contacts: Collection[str]) -> str:
        """The contact among these that a step reads at; the reference that all of a kind are read against is none."""
        own = [step.red, *step.subject]
        if step.check in (*BETWEEN_OWN_CONTACTS, *OF_FEEDS, *OF_GROUPS):
            own.append(step.black)
        elif step.check != "no_volts":
            return ""
        return next((contact for contact in own if contact in contacts), "")

    # --- apart ------------------------------------------------------------------------------------------------------

    def near_pairs(self, contacts: Iterable[str], laid: Collection[str] | None = ()) -> dict[Pair, str]:
        """Pairs of groups that can have come into touch at these contacts -> the contact.

        laid  runs that were laid anew: they can have come into touch with what shares their cable; None: all runs
        """
        number = self.groups.number
        found: dict[Pair, str] = {}
        for contact in contacts:
            group = number.get(contact)
            if group is None:
                continue
            others = range(len(self.groups)) if self._every_pair else self._groups_near(contact, laid)
            for other in others:
                found.setdefault(frozenset((group, other)), contact)
        return found

    def near(self, step: Step, pairs_near: Mapping[Pair, str]) -> str:
        """The contact at which two groups that a step proves apart can have come into touch; empty where none did."""
        return next((why for pair in self.pairs_of(step) if (why := pairs_near.get(pair))), "")

    def pairs_of(self, step: Step) -> Iterator[Pair]:
        """The pairs of conducting groups that a step proves apart: red against black and all that is joined to it."""
        number = self.groups.number
        red = number.get(step.red)
        if red is None:
            return
        if step.check == "no_volts":
            against: Iterable[str] = (feed.source for feed in self.harness.feeds)
        elif step.check in APART:
            against = black_side(self.harness, step)
        else:
            return
        for contact in against:
            other = number.get(contact)
            if other is not None:
                yield frozenset((red, other))

    def _groups_near(self, contact: str, laid: Collection[str] | None) -> set[int]:
        number = self.groups.number
        close = {self.harness.chassis, *self._neighbours.get(contact, ()), *self._shields.get(contact, ())}
        for wire, mates in self._cable_mates.get(contact, ()):
            if laid is None or wire in laid:
                close |= mates
        return {number[other] for other in close if other in number}

    @cached_property
    def _neighbours(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for ref, connector in self.harness.connectors.items():
            for a, b in neighbours_of(connector):
                found.setdefault(join(ref, a), []).append(join(ref, b))
                found.setdefault(join(ref, b), []).append(join(ref, a))
        return found

    @cached_property
    def _shields(self) -> dict[str, list[str]]:
        """Contact -> a contact of each shield around a core that ends there: the core leaves it just behind."""
        drains = {run.wire: run.a for run in self.harness.wired_runs if run.role is Role.SHIELD}
        found: dict[str, list[str]] = {}
        for run in self.harness.wired_runs:
            if run.shield in drains:
                for end in run.ends:
                    found.setdefault(end, []).append(drains[run.shield])
        return found

    @cached_property
    def _cable_mates(self) -> dict[str, list[tuple[str, set[str]]]]:
        """Contact -> each run of a cable that ends there, with a contact of every run of that cable."""
        cables: dict[str, set[str]] = {}
        for run in self.harness.wired_runs:
            if run.cable:
                cables.setdefault(run.cable, set()).add(run.a)
        found: dict[str, list[tuple[str, set[str]]]] = {}
        for run in self.harness.wired_runs:
            for end in run.ends if run.cable else ():
                found.setdefault(end, []).append((run.wire, cables[run.cable]))
        return found

    # --- ways of the current ----------------------------------------------------------------------------------------

    def on_way(self, step: Step, ways: Iterable[tuple[str, Way]]) -> str:
        """The first of these that the current of a feed step goes through; empty where it passes none."""
        legs = list(self._legs(step))
        return next((name for name, way in ways if any(way.between(*leg) for leg in legs)), "")

    def _legs(self, step: Step) -> Iterator[tuple[str, str]]:
        name = str(step.settings.get("feed", ""))
        source = str(step.settings.get("source", ""))
        feed = next((f for f in self.harness.feeds if name == f.name or (source and source == f.source)), None)
        if feed is not None:
            yield feed.source, step.red
            yield step.black, feed.ground
            yield from self._upstream(feed, set())

    def _upstream(self, feed: Feed, seen: set[str]) -> Iterator[tuple[str, str]]:
        """The legs by which the converter of a feed gets its own."""
        if not feed.converter or feed.name in seen:
            return
        seen.add(feed.name)
        for pair in self._power_pairs:
            if pair.unit == feed.converter:
                yield pair.feed.source, pair.power
                yield pair.ground, pair.feed.ground
                yield from self._upstream(pair.feed, seen)

    @cached_property
    def _power_pairs(self) -> tuple[PowerPair, ...]:
        return power_pairs(self.harness)

    # --- groups, buses, units ---------------------------------------------------------------------------------------

    def groups_of(self, contacts: Iterable[str]) -> dict[int, str]:
        """Conducting group -> the contact of it that was worked on."""
        found: dict[int, str] = {}
        for contact in contacts:
            group = self.groups.number.get(contact)
            if group is not None:
                found.setdefault(group, contact)
        return found

    def in_groups(self, step: Step, touched: Mapping[int, str]) -> str:
        """The contact that was worked on in the group that a step reads, or on the bus that it hears."""
        if step.check in (*OF_GROUPS, "can_to_rail"):
            return touched.get(self.groups.number.get(step.red, -1), "")
        if step.check in ON_BUS:
            wires = self._bus_groups.get(str(step.settings.get("bus", "")), ())
            return next((touched[group] for group in wires if group in touched), "")
        return ""

    @cached_property
    def _bus_groups(self) -> dict[str, list[int]]:
        number = self.groups.number
        return {
            bus.name: sorted(
                {
                    number[wire]
                    for place in pairs(self.harness, bus)
                    for wire in (place.high, place.low)
                    if wire in number
                }
            )
            for bus in self.harness.buses
        }

    def currents(self, due: Mapping[str, str]) -> dict[str, str]:
        """The steps for the current of each unit that a due step lets in: it was let in on what is now to be proved."""
        found: dict[str, str] = {}
        for unit, gates in self.plan.gates.items():
            why = next((due[step.id] for step in gates if step.id in due), "")
            if why and f"unit_current:{unit}" in self.plan.by_id:
                found[f"unit_current:{unit}"] = why
        return found


def black_side(harness: Harness, step: Step) -> Iterator[str]:
    """The contacts that the black lead reaches: where it lies, and what clips and plugs join to chassis with it."""
    yield step.black
    yield from sorted(step.state.links, key=contact_key)
    for ref in sorted(step.state.plugs):
        connector = harness.connectors.get(ref)
        for pin in connector.contacts if connector is not None else ():
            yield join(ref, pin)


def contacts_named(harness: Harness, name: str) -> tuple[str, ...]:
    """What a person means who says that `name` was pulled: a contact; all wired ones of a connector; both ends of a run.

    Nothing where the harness knows no such contact, connector or run. A contact that nothing is wired to is itself.
    """
    run = harness.run(name)
    if run is not None:
        return run.ends
    connector = harness.connectors.get(ref_of(name))
    if connector is None:
        return ()
    pin = pin_of(name)
    if pin:
        ends = connector.contacts if not connector.has_shell else (*connector.contacts, "shell", "ring")
        return (name,) if pin in ends else ()
    wired = {end for run in harness.wired_runs for end in run.ends if ref_of(end) == name}
    wired |= {end for part in harness.parts for end in (part.a, part.b) if ref_of(end) == name}
    return tuple(sorted(wired, key=contact_key))
