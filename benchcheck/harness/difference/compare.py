"""What changed between two versions of a harness: by wire number and reference, from what to what. Pure.

What is only said of a thing (note, colour, zone, title) is told apart from what matters for the wiring, and of the
latter is known which contacts it touched: there somebody has worked, or will have to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from benchcheck.harness.difference.flat_fields import Flat, all_flat, flat, profile_flat, types_flat
from benchcheck.harness.difference.run_match import match_runs
from benchcheck.harness.model import Harness, Run, RunState
from benchcheck.harness.nets import Nets
from benchcheck.words.contact import contact_key, ref_of

# What is said of a thing and does not change it.
COSMETIC = frozenset({"note", "colour", "zone", "title"})
# Another of these is a new part or another connector: somebody worked at all its contacts. (Of a run: gauge, cable.)
NEW_PART = ("from", "to", "kind", "ohm", "rating_a")
NEW_CONNECTOR = ("family", "gender", "contacts")


class How(StrEnum):
    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"
    RENUMBERED = "renumbered"


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field: its heading, what it said and what it says; empty where there was nothing or is nothing."""

    field: str
    was: str
    now: str

    @property
    def cosmetic(self) -> bool:
        return self.field.rpartition(" ")[2] in COSMETIC


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that changed.

    kind    `run`, `connector`, `unit`, `unit type`, `feed`, `part`, `bus`, `link`, `cable`, `limit` or `profile`
    name    its wire number or reference, the new one where it was renumbered
    former  its likely old number, where it was renumbered
    fields  of a changed one those that differ, of an added or removed one its ends
    """

    kind: str
    how: How
    name: str
    fields: tuple[FieldChange, ...] = ()
    former: str = ""

    @property
    def matters(self) -> bool:
        """Whether it matters for the wiring."""
        return self.how is not How.CHANGED or any(not field.cosmetic for field in self.fields)


@dataclass(frozen=True, slots=True)
class Swap:
    """Two runs whose ends in one connector were exchanged; each stands in the changes, too."""

    contacts: tuple[str, str]
    runs: tuple[str, str]


@dataclass(frozen=True)
class Difference:
    """Everything that differs between an old harness and a new one.

    contacts     where wires or parts were put in, taken out, moved or exchanged
    nets         the nets of the new harness that hold one of them; `nets_before`: those of the old one
    conductors   runs and parts of the new harness that are not, or not between the same contacts, in the old one;
                 `conductors_before`: those of the old one likewise
    laid         of `conductors`, the runs that are a new piece of wire, and not only end elsewhere
    units        units that are new, gone, of another type, or whose type is described otherwise
    """

    changes: tuple[Change, ...] = ()
    swaps: tuple[Swap, ...] = ()
    contacts: frozenset[str] = frozenset()
    nets: tuple[tuple[str, ...], ...] = ()
    nets_before: tuple[tuple[str, ...], ...] = ()
    conductors: frozenset[str] = frozenset()
    conductors_before: frozenset[str] = frozenset()
    laid: frozenset[str] = frozenset()
    units: frozenset[str] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.changes)

    @cached_property
    def matters(self) -> tuple[Change, ...]:
        """What matters for the wiring."""
        return tuple(change for change in self.changes if change.matters)

    @cached_property
    def cosmetic(self) -> tuple[Change, ...]:
        """What doesn't: only notes, colours, zones and titles differ."""
        return tuple(change for change in self.changes if not change.matters)

    def of(self, kind: str, how: How | None = None) -> tuple[Change, ...]:
        """The changes of one kind of thing."""
        return tuple(c for c in self.changes if c.kind == kind and (how is None or c.how is how))


def difference(old: Harness, new: Harness) -> Difference:
    """What changed from `old` to `new`. Order of rows and places in the files don't count."""
    changes: list[Change] = []
    contacts: set[str] = set()
    worn, fresh = set[str](), set[str]()
    laid = set[str]()
    moves = _runs(old, new, changes, contacts, worn, fresh, laid)
    both: list[tuple[str, Mapping[str, Flat], Mapping[str, Flat]]] = [
        ("connector", all_flat(old.connectors.values(), "ref"), all_flat(new.connectors.values(), "ref")),
        ("unit", all_flat(old.units.values(), "ref"), all_flat(new.units.values(), "ref")),
        ("unit type", types_flat(old), types_flat(new)),
        ("feed", all_flat(old.feeds, "name"), all_flat(new.feeds, "name")),
        ("part", all_flat(old.parts, "ref"), all_flat(new.parts, "ref")),
        ("bus", all_flat(old.buses, "name"), all_flat(new.buses, "name")),
        ("link", all_flat(old.links, "name"), all_flat(new.links, "name")),
        ("cable", all_flat(old.cables.values(), "name"), all_flat(new.cables.values(), "name")),
        ("limit", {"limits": flat(old.limits)}, {"limits": flat(new.limits)}),
        ("profile", {"profile": profile_flat(old)}, {"profile": profile_flat(new)}),
    ]
    for kind, was, now in both:
        for name in sorted(was.keys() | now.keys(), key=contact_key):
            change = _change(kind, name, was.get(name), now.get(name))
            if change is not None:
                changes.append(change)
                touched = _touched(change, was.get(name, {}), now.get(name, {}), old, new)
                contacts |= touched
                if kind == "part" and touched:
                    worn |= {name} & was.keys()
                    fresh |= {name} & now.keys()
    return Difference(
        tuple(changes),
        _swaps(moves),
        frozenset(contacts),
        _nets_of(new, contacts),
        _nets_of(old, contacts),
        frozenset(fresh),
        frozenset(worn),
        frozenset(laid),
        _changed_units(old, new, changes),
    )


# --- runs -------------------------------------------------------------------------------------------------------


def _runs(
    old: Harness,
    new: Harness,
    changes: list[Change],
    contacts: set[str],
    worn: set[str],
    fresh: set[str],
    laid: set[str],
) -> list[tuple[str, str, str]]:
    """Fill in what became of the runs; gives (wire, from where, to where) of each single end that was moved."""
    moves: list[tuple[str, str, str]] = []
    same_cable = _cables_renamed(old, new)
    for was, now in match_runs(old.runs, new.runs):
        there = [run for run in (was, now) if run is not None]
        if was is None or now is None:
            run = there[0]
            how = How.ADDED if was is None else How.REMOVED
            ends = tuple(
                FieldChange(key, "", end) if was is None else FieldChange(key, end, "")
                for key, end in (("from", run.a), ("to", run.b))
                if end
            )
            changes.append(Change("run", how, run.wire, ends))
            if _is_there(run):
                contacts.update(run.ends)
                (fresh if was is None else worn).add(run.wire)
                laid |= {run.wire} if was is None else set()
            continue
        differing = _differing(flat(was), flat(now))
        if not differing:
            continue
        renumbered = was.wire != now.wire
        differing = tuple(field for field in differing if field.field != "wire")
        changes.append(
            Change(
                "run",
                How.RENUMBERED if renumbered else How.CHANGED,
                now.wire,
                differing,
                was.wire if renumbered else "",
            )
        )
        if not (_is_there(was) or _is_there(now)):
            continue
        left, reached = set(was.ends) - set(now.ends), set(now.ends) - set(was.ends)
        other_cable = was.cable != now.cable and same_cable.get(was.cable) != now.cable
        another = was.awg != now.awg or other_cable or _is_there(was) is not _is_there(now)
        contacts |= {*was.ends, *now.ends} if another else left | reached
        if another or left or reached:
            worn |= {was.wire} if _is_there(was) else set()
            fresh |= {now.wire} if _is_there(now) else set()
            laid |= {now.wire} if another and _is_there(now) else set()
        if len(left) == len(reached) == 1:
            moves.append((now.wire, left.pop(), reached.pop()))
    changes.sort(key=lambda change: (contact_key(change.name), change.how))
    return moves


def _is_there(run: Run) -> bool:
    return run.state is not RunState.PLANNED


def _cables_renamed(old: Harness, new: Harness) -> dict[str, str]:
    """Old name -> new name of a cable whose runs are the same ones."""

    def of(harness: Harness) -> dict[str, Counter[frozenset[str]]]:
        found: dict[str, Counter[frozenset[str]]] = {}
        for run in harness.runs:
            if run.cable:
                found.setdefault(run.cable, Counter())[frozenset(run.ends)] += 1
        return found

    was, now = of(old), of(new)
    gone, come = sorted(was.keys() - now.keys()), sorted(now.keys() - was.keys())
    found: dict[str, str] = {}
    for name in gone:
        fitting = next((other for other in come if now[other] == was[name]), None)
        if fitting is not None:
            found[name] = fitting
            come.remove(fitting)
    return found


def _swaps(moves: Iterable[tuple[str, str, str]]) -> tuple[Swap, ...]:
    at: dict[tuple[str, str], str] = {}
    found: list[Swap] = []
    for wire, left, reached in moves:
        other = at.pop((reached, left), None)
        if other is None:
            at[left, reached] = wire
        elif ref_of(left) == ref_of(reached):
            first, second = sorted((left, reached), key=contact_key)
            found.append(Swap((first, second), (min(wire, other), max(wire, other))))
    return tuple(sorted(found, key=lambda swap: contact_key(swap.contacts[0])))


# --- everything else ----------------------------------------------------------------------------------------------


def _change(kind: str, name: str, was: Flat | None, now: Flat | None) -> Change | None:
    if was is None or now is None:
        there = was if now is None else now
        ends = tuple(
            FieldChange(key, there[key], "") if now is None else FieldChange(key, "", there[key])
            for key in ("from", "to")
            if there and there.get(key)
        )
        return Change(kind, How.REMOVED if now is None else How.ADDED, name, ends)
    differing = _differing(was, now)
    return Change(kind, How.CHANGED, name, differing) if differing else None


def _differing(was: Flat, now: Flat) -> tuple[FieldChange, ...]:
    keys = [*was, *(key for key in now if key not in was)]
    return tuple(
        FieldChange(key, was.get(key, ""), now.get(key, ""))
        for key in sorted(keys)
        if was.get(key, "") != now.get(key, "")
    )


def _touched(change: Change, was: Flat, now: Flat, old: Harness, new: Harness) -> set[str]:
    names = {field.field for field in change.fields}
    if change.kind == "part" and (change.how is not How.CHANGED or names & set(NEW_PART)):
        return {end for side in (was, now) for end in (side.get("from"), side.get("to")) if end}
    if change.kind == "connector" and change.how is How.CHANGED and names & set(NEW_CONNECTOR):
        return {
            end
            for harness in (old, new)
            for run in harness.wired_runs
            for end in run.ends
            if ref_of(end) == change.name
        }
    return set()


def _changed_units(old: Harness, new: Harness, changes: Iterable[Change]) -> frozenset[str]:
    found: set[str] = set()
    for change in changes:
        if not change.matters:
            continue
        if change.kind == "unit":
            found.add(change.name)
        elif change.kind == "unit type":
            units = [*old.units.values(), *new.units.values()]
            found |= {unit.ref for unit in units if unit.type.name == change.name}
    return frozenset(found)


def _nets_of(harness: Harness, contacts: Iterable[str]) -> tuple[tuple[str, ...], ...]:
    nets = Nets(harness)
    numbers = {net for contact in contacts if (net := nets.net_of(contact)) is not None}
    return tuple(nets.members(net) for net in sorted(numbers))
