"""Power: which feed each unit contact wants, what it draws, and the bench states in which power is proved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchcheck.harness.circuit import Circuit, circuit_of
from benchcheck.harness.model import Feed, Harness, PathKind, Role, Unit
from benchcheck.harness.once import once
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import contact_key, join, ref_of


@dataclass(frozen=True, slots=True)
class PowerPair:
    """A unit's power contact with the ground contact that it is read against."""

    unit: str
    power: str
    ground: str
    feed: Feed
    nominal_v: float
    load_a: float


def is_converter(unit: Unit) -> bool:
    """Whether a unit makes a feed of its own."""
    return any(path.kind is PathKind.CONVERTER for path in unit.type.paths)


def main_feed(harness: Harness) -> Feed | None:
    """The feed that the bench supply drives."""
    return next((feed for feed in harness.feeds if not feed.converter), None)


@once
def feeds_of_contacts(harness: Harness) -> Mapping[str, Feed]:
    """Contact -> the feed that reaches it with every protector in and every switch on."""
    circuit = circuit_of(harness)
    found: dict[str, Feed] = {}
    for feed in harness.feeds:
        for contact in circuit.component(feed.source):
            found.setdefault(contact, feed)
    return found


def unit_contacts(harness: Harness, unit: Unit, role: Role) -> tuple[str, ...]:
    """Harness contacts of a unit that have this role by the unit's own file, and a conductor."""
    wired = harness.wired_ends
    contacts = [
        join(unit.connectors[entry.connector], entry.contact)
        for entry in unit.type.contacts
        if entry.role is role and entry.connector in unit.connectors
    ]
    return tuple(sorted((contact for contact in contacts if contact in wired), key=contact_key))


@once
def power_pairs(harness: Harness) -> tuple[PowerPair, ...]:
    """Every power contact against a ground contact, and every ground contact against a power contact.

    Together they touch each feed and ground contact of each unit at least once; a converter's output
    is what it makes, not what it wants, and is left out.
    """
    feeds = feeds_of_contacts(harness)
    pairs: list[PowerPair] = []
    for unit in harness.units.values():
        grounds = unit_contacts(harness, unit, Role.GROUND)
        wanting = unit_contacts(harness, unit, Role.POWER)
        powers = [c for c in wanting if _feed_wanted(harness, feeds, unit, c) is not None]
        if not grounds or not powers:
            continue
        wanted = [(power, _beside(power, grounds)) for power in powers]
        touched = {ground for _, ground in wanted}
        wanted += [(_beside(ground, powers), ground) for ground in grounds if ground not in touched]
        for power, ground in wanted:
            entry, feed = harness.unit_contact(power), _feed_wanted(harness, feeds, unit, power)
            if entry is not None and feed is not None:
                pairs.append(PowerPair(unit.ref, power, ground, feed, entry.feed_v or feed.nominal_v, entry.load_a))
    return tuple(pairs)


def _feed_wanted(harness: Harness, feeds: Mapping[str, Feed], unit: Unit, contact: str) -> Feed | None:
    """The feed that a power contact is read for: the one that reaches it, or the one whose volts it asks for.

    None for a converter's own output.
    """
    feed = feeds.get(contact)
    if feed is None:
        entry = harness.unit_contact(contact)
        asked = entry.feed_v if entry is not None else None
        feed = next((f for f in harness.feeds if f.nominal_v == asked), main_feed(harness))
    return feed if feed is not None and feed.converter != unit.ref else None


def _beside(contact: str, candidates: tuple[str, ...] | list[str]) -> str:
    """A candidate in the same connector, so that the leads stay where they are; else the first."""
    return next((c for c in candidates if ref_of(c) == ref_of(contact)), candidates[0])


def connectors_of(harness: Harness, unit_ref: str) -> frozenset[str]:
    """The harness connectors that plug into a unit."""
    return frozenset(harness.units[unit_ref].connectors.values())


def feed_state(harness: Harness, feed: Feed) -> BenchState:
    """Supply on and units out, but for the converters that this feed needs; their output is reached by a breakout lead."""
    on_unit: set[str] = set()
    breakout: set[str] = set()
    reached = feed
    while reached.converter and reached.converter in harness.units:
        on_unit |= connectors_of(harness, reached.converter)
        breakout.add(ref_of(reached.source))
        upstream = [f for f in harness.feeds if f is not reached and f.converter != reached.converter]
        inputs = feeds_of_contacts(harness)
        names = {
            inputs[c].name
            for c in unit_contacts(harness, harness.units[reached.converter], Role.POWER)
            if c in inputs and inputs[c] is not reached
        }
        reached = next((f for f in upstream if f.name in names), upstream[0] if upstream else feed)
        if reached is feed:
            break
    return BenchState(on_unit=frozenset(on_unit), breakout=frozenset(breakout), supply_on=True)


@once
def plug_order(harness: Harness) -> tuple[str, ...]:
    """Units in the order in which they go in: converters first, then as the profile lists them."""
    return tuple(sorted(harness.units, key=lambda ref: not is_converter(harness.units[ref])))


def units_in(harness: Harness, units: tuple[str, ...]) -> BenchState:
    """Supply on with these units in; connectors at which a line is tapped go through a breakout lead."""
    on_unit = frozenset(ref for unit in units for ref in connectors_of(harness, unit))
    taps = frozenset(link.tap for link in harness.links)
    reached = frozenset(ref_of(feed.source) for feed in harness.feeds if feed.converter)
    return BenchState(on_unit=on_unit, breakout=(taps | reached) & on_unit, supply_on=True)


def supply_share(harness: Harness, pair: PowerPair) -> float:
    """Amperes that the load of a power contact draws from the bench supply, through converters where there are any."""
    amps, volts, feed = pair.load_a, pair.nominal_v, pair.feed
    seen: set[str] = set()
    while feed.converter and feed.name not in seen:
        seen.add(feed.name)
        efficiency = next(
            (p.efficiency for p in harness.units[feed.converter].type.paths if p.efficiency is not None), 1.0
        )
        upstream = main_feed(harness)
        if upstream is None:
            break
        amps = amps * volts / (efficiency * upstream.nominal_v)
        volts, feed = upstream.nominal_v, upstream
    return amps


# Above what the plugged units and the technician's load should draw, this much more before the supply holds back
# (common practice, no source).
LIMIT_FACTOR = 1.5
LIMIT_SLACK_A = 1.0


def current_limit_a(harness: Harness, state: BenchState) -> float:
    """The limit to set on the bench supply in a bench state, in amperes: what is plugged may draw, and little more."""
    feed = main_feed(harness)
    if feed is None:
        return 0.0
    pairs = {pair.power: pair for pair in power_pairs(harness)}.values()
    plugged = sum(supply_share(harness, p) for p in pairs if connectors_of(harness, p.unit) & state.on_unit)
    loads = max((supply_share(harness, pair) for pair in pairs), default=0.0)
    return min(feed.limit_a, LIMIT_FACTOR * (plugged + loads) + LIMIT_SLACK_A)


def path_ohm(circuit: Circuit, pair: PowerPair) -> float:
    """Resistance from the feed's source to the power contact and back from the ground contact, in ohms."""
    return circuit.ohms(pair.feed.source, pair.power) + circuit.ohms(pair.feed.ground, pair.ground)
