"""The current in every wire when all units draw what they declare, and the volts lost on the way to each of them.

Paper only: every protector in, every switch on, planned runs wired, shields carry nothing. A feed's current goes from
its source to the power contacts and comes back from the units' ground contacts to the feed's ground. What a converter
makes is drawn from its input: input = output x output volts / (efficiency x input volts), beside what it draws itself.

Most of a harness is a tree, in which each current is a sum; only where wires are doubled or meshed is a network solved.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from benchcheck.harness.flow import Edge, Flow
from benchcheck.harness.model import Feed, Harness, Part, PartKind, PathKind, Role, Run, Unit, UnitContact
from benchcheck.harness.nets import Groups
from benchcheck.harness.wire import resistance_ohm
from benchcheck.words.contact import join

_CLOSED = (PartKind.PROTECTOR, PartKind.SWITCH)
# Sums and solved networks are this near to what they stand for: what is compared with a limit gets as much.
ROUNDING = 1e-6
# How the current of a unit with several ground contacts shares out among them inside: next to nothing.
_INSIDE_OHM = 0.001


@dataclass(frozen=True, slots=True)
class Conductor:
    """A run or a closed part, with the amperes in it (from `a` to `b`) and its resistance at the harness's temperature."""

    item: Run | Part
    a: str
    b: str
    ohm: float
    amps: float

    @property
    def drop_v(self) -> float:
        return abs(self.amps) * self.ohm

    @property
    def name(self) -> str:
        return self.item.wire if isinstance(self.item, Run) else self.item.ref


@dataclass(frozen=True, slots=True)
class Load:
    """What a unit draws at a power contact: amperes with its converters counted in; `returned` where it goes back."""

    contact: str
    unit: Unit
    entry: UnitContact
    feed: Feed
    amps: float
    returned: str  # a ground contact of the unit, or the joint of several; empty where none reaches the feed's ground


@dataclass(frozen=True, slots=True)
class Converted:
    """A converter at work: what it gives, and what it takes for that at its input contact beside its own `idle_a`."""

    unit: Unit
    contact: str  # its input
    source: Feed  # that feeds the input
    made: Feed
    output_a: float
    efficiency: float | None  # None: not declared, and counted as 1
    input_a: float
    idle_a: float

    @property
    def arithmetic(self) -> str:
        """`2 A x 28 V / (0.9 x 14 V) = 4.44 A`."""
        share = 1 if self.efficiency is None else self.efficiency
        return (
            f"{self.output_a:.3g} A x {self.made.nominal_v:g} V / ({share:g} x {self.source.nominal_v:g} V)"
            f" = {self.input_a:.3g} A"
        )


class FeedCurrents:
    """Currents and drops of a harness under its declared loads.

    loads        in the order of the units
    converted    the converters that are fed
    conductors   every run and closed part that could carry supply current
    """

    def __init__(self, harness: Harness) -> None:
        self._harness = harness
        self._items = list(_items(harness))
        groups: Groups[str] = Groups()
        for _, a, b, _ in self._items:
            groups.join(a, b)
        for feed in harness.feeds:
            groups.add(feed.source)
            groups.add(feed.ground)
        self._groups = groups
        self._inside: list[Edge] = []
        self._pass_on()
        self._feed_of = self._sound_feeds()
        self._grounds = self._ground_contacts()
        self._asked: dict[str, list[tuple[Unit, UnitContact, str]]] = {}
        for unit in harness.units.values():
            self._ask(unit)
        self._totals: dict[str, float] = {}
        self.converted: list[Converted] = []
        self.loads: list[Load] = []
        for feed in self._feed_of.values():
            self._total(feed, ())
        self._flow = self._solve()
        self.conductors = tuple(
            Conductor(item, a, b, ohm, amps)
            for (item, a, b, ohm), amps in zip(self._items, self._flow.amps, strict=False)
        )

    def supply_drop_v(self, load: Load) -> float:
        """Volts lost from the feed's source to the power contact."""
        return self._flow.volts(load.feed.source, load.contact)

    def return_drop_v(self, load: Load) -> float:
        """Volts lost from the unit's ground back to the feed's; 0 where it can't get there."""
        return self._flow.volts(load.returned, load.feed.ground) if load.returned else 0.0

    def supply_way(self, load: Load) -> tuple[Conductor, ...]:
        """The conductors from the feed's source to the power contact."""
        return self._way(load.feed.source, load.contact)

    def return_way(self, load: Load) -> tuple[Conductor, ...]:
        """The conductors from the unit's ground to that of the feed; where wires are meshed one way of several."""
        return self._way(load.returned, load.feed.ground) if load.returned else ()

    def own_branch(self, converted: Converted) -> tuple[Conductor, ...]:
        """The conductors that carry the current of this converter's input and no other: up from it, and back from it."""
        load = next((load for load in self.loads if load.contact == converted.contact), None)
        found: list[Conductor] = []
        if load is None:
            return ()  # it draws nothing
        for way in (tuple(reversed(self.supply_way(load))), self.return_way(load)):
            for conductor in way:
                if not math.isclose(abs(conductor.amps), load.amps, rel_tol=ROUNDING):
                    break
                found.append(conductor)
        return tuple(found)

    def downstream(self, part: Part) -> str:
        """The contact of a part that lies behind it as seen from its feed; its `to` where no feed reaches it."""
        feed = self._feed_of.get(self._groups.find(part.a)) if part.a in self._groups else None
        if feed is None:
            return part.b
        return part.a if self._flow.steps(part.a) > self._flow.steps(part.b) else part.b

    def _way(self, a: str, b: str) -> tuple[Conductor, ...]:
        return tuple(self.conductors[index] for index in self._flow.way(a, b) if index < len(self.conductors))

    def _pass_on(self) -> None:
        """Join what units pass on: supply, or its return, that reaches one contact and leaves by another of that role.

        Two contacts that are both reached by wire share a current inside by what isn't known here: they stay apart.
        """
        todo = [
            (role, a, b, path.ohm or _INSIDE_OHM)
            for unit in self._harness.units.values()
            for path in unit.type.paths
            if path.kind is PathKind.THROUGH
            and (a := unit.mate(path.a)) in self._groups
            and (b := unit.mate(path.b)) in self._groups
            and (role := _role(self._harness, a)) in (Role.POWER, Role.GROUND)
            and role is _role(self._harness, b)
        ]
        while todo:
            homes = {
                Role.POWER: {self._groups.find(feed.source) for feed in self._harness.feeds},
                Role.GROUND: {self._groups.find(feed.ground) for feed in self._harness.feeds},
            }
            left = []
            for role, a, b, ohm in todo:
                if (self._groups.find(a) in homes[role]) is (self._groups.find(b) in homes[role]):
                    left.append((role, a, b, ohm))
                    continue
                self._groups.join(a, b)
                homes[role].add(self._groups.find(a))
                self._inside.append(Edge(a, b, ohm))
            if len(left) == len(todo):
                return
            todo = left

    def _sound_feeds(self) -> Mapping[str, Feed]:
        """Group of contacts -> the one feed that drives it. Feeds that are joined or shorted are another rule's."""
        found: dict[str, list[Feed]] = {}
        for feed in self._harness.feeds:
            found.setdefault(self._groups.find(feed.source), []).append(feed)
        return {
            group: feeds[0]
            for group, feeds in found.items()
            if len(feeds) == 1 and group != self._groups.find(feeds[0].ground)
        }

    def _ground_contacts(self) -> Mapping[str, tuple[str, ...]]:
        """Unit -> its ground contacts that have a conductor."""
        return {
            unit.ref: tuple(
                contact
                for entry in unit.type.contacts
                if entry.role is Role.GROUND and (contact := _mate(unit, entry)) in self._groups
            )
            for unit in self._harness.units.values()
        }

    def _ask(self, unit: Unit) -> None:
        made = {feed.source for feed in self._harness.feeds if feed.converter == unit.ref} if self._makes(unit) else ()
        for entry in unit.type.contacts:
            contact = _mate(unit, entry)
            if entry.role is not Role.POWER or contact not in self._groups or contact in made:
                continue
            feed = self._feed_of.get(self._groups.find(contact))
            if feed is not None:
                self._asked.setdefault(feed.name, []).append((unit, entry, contact))

    @staticmethod
    def _makes(unit: Unit) -> bool:
        return any(path.kind is PathKind.CONVERTER for path in unit.type.paths)

    def _total(self, feed: Feed, above: tuple[str, ...]) -> float:
        """Amperes that all loads of a feed draw; a converter that feeds itself through others counts once."""
        if feed.name in self._totals:
            return self._totals[feed.name]
        total = 0.0
        for unit, entry, contact in self._asked.get(feed.name, ()):
            amps = entry.load_a + sum(
                self._convert(unit, entry, contact, feed, made, (*above, feed.name))
                for made in self._made_from(unit, entry)
            )
            if amps > 0:
                self.loads.append(Load(contact, unit, entry, feed, amps, self._returned(unit, feed)))
                total += amps
        self._totals[feed.name] = total
        return total

    def _made_from(self, unit: Unit, entry: UnitContact) -> Iterator[Feed]:
        """The feeds that a converter makes from what enters at this contact."""
        own = join(entry.connector, entry.contact)
        paths = [path for path in unit.type.paths if path.kind is PathKind.CONVERTER]
        if not any(path.a == own for path in paths):
            return
        for feed in self._feed_of.values():
            if feed.converter == unit.ref and any(
                path.a == own and (unit.mate(path.b) == feed.source or len(paths) == 1) for path in paths
            ):
                yield feed

    def _convert(
        self, unit: Unit, entry: UnitContact, contact: str, feed: Feed, made: Feed, above: tuple[str, ...]
    ) -> float:
        if made.name in above:
            return 0.0
        output_a = self._total(made, above)
        own = join(entry.connector, entry.contact)
        efficiency = next((p.efficiency for p in unit.type.paths if p.kind is PathKind.CONVERTER and p.a == own), None)
        input_a = output_a * made.nominal_v / ((efficiency or 1.0) * feed.nominal_v)
        self.converted.append(Converted(unit, contact, feed, made, output_a, efficiency, input_a, entry.load_a))
        return input_a

    def _returned(self, unit: Unit, feed: Feed) -> str:
        home = self._groups.find(feed.ground)
        outputs = {made.ground for made in self._harness.feeds if made.converter == unit.ref}
        reached = [contact for contact in self._grounds[unit.ref] if self._groups.find(contact) == home]
        own = [contact for contact in reached if contact not in outputs] or reached
        if len(own) < 2:
            return own[0] if own else ""
        joint = f"inside {unit.ref} of {feed.name}"
        if joint not in self._groups:
            for contact in own:
                self._groups.join(contact, joint)
                self._inside.append(Edge(joint, contact, _INSIDE_OHM))
        return joint

    def _solve(self) -> Flow:
        entering: dict[str, float] = {}
        for load in self.loads:
            entering[load.feed.source] = entering.get(load.feed.source, 0.0) + load.amps
            entering[load.contact] = entering.get(load.contact, 0.0) - load.amps
            if load.returned:
                entering[load.returned] = entering.get(load.returned, 0.0) + load.amps
                entering[load.feed.ground] = entering.get(load.feed.ground, 0.0) - load.amps
        edges = [Edge(a, b, ohm) for _, a, b, ohm in self._items]
        roots = [feed.source for feed in self._feed_of.values()] + [feed.ground for feed in self._feed_of.values()]
        return Flow([*edges, *self._inside], entering, roots)


def _items(harness: Harness) -> Iterator[tuple[Run | Part, str, str, float]]:
    for run in harness.runs:
        if run.b and run.role is not Role.SHIELD:
            known = run.awg is not None and run.length_m is not None
            ohm = resistance_ohm(run.awg or 0, run.length_m or 0.0, harness.ambient_c) if known else 0.0
            yield run, run.a, run.b, ohm
    for part in harness.parts:
        if part.kind in _CLOSED:
            yield part, part.a, part.b, part.ohm


def _role(harness: Harness, contact: str) -> Role | None:
    entry = harness.unit_contact(contact)
    return None if entry is None else entry.role


def _mate(unit: Unit, entry: UnitContact) -> str:
    ref = unit.connectors.get(entry.connector)
    return join(ref, entry.contact) if ref is not None else ""
