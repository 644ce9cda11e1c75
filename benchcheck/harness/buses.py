"""What of a harness belongs to a CAN bus: its two wires at each connector, its terminators, its units' contacts."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.harness.model import Bus, Harness, Part, PartKind, PathKind, Role
from benchcheck.harness.nets import Nets, nets_of
from benchcheck.harness.once import once
from benchcheck.words.contact import contact_key, join, pin_of, ref_of


@dataclass(frozen=True, slots=True)
class Pair:
    """CAN-H and CAN-L at one connector."""

    connector: str
    high: str
    low: str


def wire_contacts(harness: Harness, bus: Bus, nets: Nets | None = None) -> tuple[frozenset[str], frozenset[str]]:
    """All contacts on the bus's CAN-H and CAN-L wires: the nets at the connector of the adapter, and on from there
    through every unit that joins contacts of that role inside. Contacts side by side are not one bus for that alone:
    a connector may carry two.

    nets  those of the runs that are there, or of the finished harness (`Nets(harness, planned=True)`)
    """
    if nets is None:
        return _wired(harness, bus)
    return _both(harness, bus, nets)


@once
def _wired(harness: Harness, bus: Bus) -> tuple[frozenset[str], frozenset[str]]:
    return _both(harness, bus, nets_of(harness))


_NONE: frozenset[str] = frozenset()


def _both(harness: Harness, bus: Bus, nets: Nets) -> tuple[frozenset[str], frozenset[str]]:
    """The two wires of a bus. Where the connector of its adapter carries several, each bus has the pair that suits it
    best: by the units met, then by the cables that both wires lie in; of equals the first bus has the first."""
    highs, lows = (_wires_at(harness, nets, role, bus.adapter_at) for role in (Role.CAN_H, Role.CAN_L))
    if len(harness.buses) < 2 and len(highs) < 2 and len(lows) < 2:
        return (highs or [_NONE])[0], (lows or [_NONE])[0]
    met = {wire: _units_met(harness, wire) for wire in (*highs, *lows)}
    cables = {wire: _cables(nets, wire) for wire in (*highs, *lows)}
    refs = {wire: frozenset(map(ref_of, wire)) for wire in (*highs, *lows)}
    ranked = []
    for high in highs or [_NONE]:
        for low in lows or [_NONE]:
            pair = [wire for wire in (high, low) if wire]
            shared = len(cables[high] & cables[low]) if len(pair) == 2 else 0
            for rival in dict.fromkeys((bus, *harness.buses)):
                if rival == bus or any(rival.adapter_at in refs[wire] for wire in pair):
                    fits = [_suits(rival, met[wire]) for wire in pair]
                    rank = (sum(fit for fit, _ in fits), shared, sum(alone for _, alone in fits))
                    ranked.append((rank, rival.adapter_at == bus.adapter_at, rival.name, high, low))
    order = {other.name: number for number, other in enumerate(harness.buses)}
    ranked.sort(key=lambda entry: (*(-value for value in entry[0]), not entry[1], order.get(entry[2], 0)))
    found: dict[str, tuple[frozenset[str], frozenset[str]]] = {}
    taken: set[frozenset[str]] = set()
    for _, _, name, high, low in ranked:
        if name not in found and taken.isdisjoint({high, low}):
            found[name] = (high, low)
            taken |= {high, low} - {_NONE}
    return found.get(bus.name, (_NONE, _NONE))


def _wires_at(harness: Harness, nets: Nets, role: Role, connector: str) -> list[frozenset[str]]:
    starts = {end for end, run in nets.ends_by_connector.get(connector, ()) if _role(harness, end, run.role) is role}
    wires: list[frozenset[str]] = []
    for start in sorted(starts, key=contact_key):
        if not any(start in wire for wire in wires):
            wires.append(_reached(harness, nets, role, start))
    return wires


def _units_met(harness: Harness, wire: frozenset[str]) -> frozenset[str]:
    return frozenset(harness.connectors[ref_of(contact)].unit for contact in wire) - {""}


def _suits(bus: Bus, met: frozenset[str]) -> tuple[int, int]:
    """How well a wire that meets these units suits a bus: nodes met, less those it lacks and the units that are none."""
    strangers = len(met.difference(bus.nodes))
    return 2 * len(met.intersection(bus.nodes)) - len(bus.nodes) - strangers, -strangers


def _cables(nets: Nets, wire: frozenset[str]) -> frozenset[str]:
    refs = {ref_of(contact) for contact in wire}
    return frozenset(
        run.cable for ref in refs for end, run in nets.ends_by_connector.get(ref, ()) if run.cable and end in wire
    )


def _role(harness: Harness, contact: str, otherwise: Role) -> Role:
    entry = harness.unit_contact(contact)
    return otherwise if entry is None else entry.role


def _reached(harness: Harness, nets: Nets, role: Role, start: str) -> frozenset[str]:
    reached: set[str] = set()
    todo = [start]
    while todo:
        net = nets.net_of(todo.pop())
        for contact in () if net is None else nets.members(net):
            if contact not in reached:
                reached.add(contact)
                todo += _through(harness, contact, role)
    return frozenset(reached)


def _through(harness: Harness, contact: str, role: Role) -> list[str]:
    """Contacts of that role that the unit joins inside to the one that mates with `contact`."""
    connector = harness.connectors.get(ref_of(contact))
    unit = harness.units.get(connector.unit) if connector is not None else None
    if connector is None or unit is None:
        return []
    own = join(connector.unit_connector, pin_of(contact))
    others = [
        unit.mate(path.b if own == path.a else path.a)
        for path in unit.type.paths
        if path.kind is PathKind.THROUGH and own in (path.a, path.b)
    ]
    return [mate for mate in others if mate and _role(harness, mate, Role.SIGNAL) is role]


@once
def pairs(harness: Harness, bus: Bus) -> tuple[Pair, ...]:
    """Every place where both wires of the bus can be touched at one connector.

    A connector with an in pair and an out pair gives two places: the first H with the first L in contact order.
    """
    sides: list[dict[str, list[str]]] = []
    for wire in wire_contacts(harness, bus):
        at: dict[str, list[str]] = {}
        for contact in sorted(wire, key=contact_key):
            at.setdefault(ref_of(contact), []).append(contact)
        sides.append(at)
    found: list[Pair] = []
    for ref in sorted({*sides[0], *sides[1]}):
        highs, lows = (at.get(ref, []) for at in sides)
        found += [Pair(ref, h, low_) for h, low_ in zip(highs, lows, strict=False)]
    return tuple(found)


@once
def terminators(harness: Harness, bus: Bus) -> tuple[Part, ...]:
    """The terminators that are parts of the harness and lie across this bus."""
    high, low = wire_contacts(harness, bus)
    return tuple(
        part
        for part in harness.parts
        if part.kind is PartKind.TERMINATOR
        and ((part.a in high and part.b in low) or (part.a in low and part.b in high))
    )
