"""Two versions of a profile: which steps of the new plan must be done again, which are new, gone, or keep their verdict.

A step keeps its verdict only where nothing that its reading depends on has changed: it asks the same thing of the same
contacts with the same limit, and what it rests on (`readiness.dependents`) was not worked on. What a label says (note,
colour, zone, title), and the limits that a temperature moves, make nothing due.

At a stud, splice or terminal strip one lug more or less leaves the others as they were proved; in a connector two
conductors share a crimped contact, so the other one is proved again. A person who knows better says so with a rework.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace

from benchcheck.harness.difference.compare import Difference, difference
from benchcheck.harness.model import Harness
from benchcheck.plan.plan import GATE_CHECKS, Plan, make_plan
from benchcheck.readiness.dependents import APART, Dependents, Pair, black_side
from benchcheck.readiness.in_force import OF_WHOLE_GROUPS, must_be_joined, same_limit, same_state
from benchcheck.readiness.way import Way
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import contact_key, ref_of
from benchcheck.words.meter import MeterSpec
from benchcheck.words.settling import passes_lifted
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.ways import Ways

JOINTS = ("stud", "splice", "terminals")
# Settings that say nothing of what is read: what was in before a unit goes in is taken off its reading.
NOT_OF_THE_READING = ("before", "connectors", "turn", "apart_from", "feeds")
LET_IN = "the unit was let in before all of its contacts were proved that are wired now"
ASKED_OTHERWISE = "the step asks something else now, or has another limit"
NOT_KNOWN = "the pin table was changed, and how it was before is not in this record"


@dataclass(frozen=True)
class DueAgain:
    """Steps by what becomes of them, in plan order.

    again  step of both plans -> why it must be done again
    new    steps that only the new plan has; `gone`: that only the old plan had
    kept   steps whose verdict stands
    found  the difference between the two harnesses, `before` the plan of the old one; None where it is not known
    """

    again: Mapping[str, str] = field(default_factory=dict)
    new: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    found: Difference | None = None
    before: Plan | None = None


def due_again(old: Harness, new: Harness, *, meter: MeterSpec | None = None, ways: Ways | None = None) -> DueAgain:
    """Compare two versions, both planned for one meter, in the same ways, at the new one's ambient temperature.

    Raises InputError where one of them can't be planned.
    """
    was = make_plan(replace(old, ambient_c=new.ambient_c), meter, ways)
    return due_again_in(old, was, new, make_plan(new, meter, ways), ways)


def due_again_in(old: Harness, was: Plan, new: Harness, now: Plan, ways: Ways | None = None) -> DueAgain:
    """The same with the plans at hand; they must be of one meter, the same ways and one ambient temperature."""
    found = difference(old, new)
    due = _Due(old, was, new, now, ways, found)
    again: dict[str, str] = {}
    for step in now.steps:
        before = was.by_id.get(step.id)
        if before is not None and (why := due.why(before, step)):
            again[step.id] = why
    fresh = [step.id for step in now.steps if step.id not in was.by_id]
    again = due.after.in_order({**due.after.currents({**dict.fromkeys(fresh, LET_IN), **again}), **again})
    again = {name: why for name, why in again.items() if name in was.by_id}
    return DueAgain(
        again,
        tuple(step.id for step in now.steps if step.id not in was.by_id),
        tuple(step.id for step in was.steps if step.id not in now.by_id),
        tuple(step.id for step in now.steps if step.id in was.by_id and step.id not in again),
        found,
        was,
    )


def due_after_unknown(now: Plan) -> DueAgain:
    """Where the old version is not known: every step that says something of more than its own two contacts.

    What the others were read of stands with each reading, and is compared there.
    """
    again = {step.id: NOT_KNOWN for step in now.steps if step.check in OF_WHOLE_GROUPS or step.stage is Stage.LIVE}
    return DueAgain(again, kept=tuple(step.id for step in now.steps if step.id not in again))


class _Due:
    def __init__(self, old: Harness, was: Plan, new: Harness, now: Plan, ways: Ways | None, found: Difference) -> None:
        self._found = found
        self.before, self.after = Dependents(old, was, ways), Dependents(new, now, ways)
        self._old, self._new = old, new
        touched = sorted(found.contacts, key=contact_key)
        self._crimped = {c for c in touched if not (_is_joint(old, c) or _is_joint(new, c))}
        self._near = self.after.near_pairs(touched, found.laid)
        self._shifted = _shifted(self.before, self.after, found.laid) if found.contacts else {}
        self._groups = self.after.groups_of(touched) | {group: "" for group, _ in self._shifted}
        self._ways = _ways(self.after, self._crimped, found.conductors)
        self._ways_before = _ways(self.before, (), found.conductors_before)
        self._buses = {change.name for change in found.of("bus") if change.matters}
        self._links = {change.name for change in found.of("link") if change.matters}

    def _wants_contact_proved(self, step: Step) -> bool:
        old, new = self._old.limits, self._new.limits
        if new.contact_by_word or not old.contact_by_word or step.band is None:
            return False
        return passes_lifted(step.band, step.band.unit, new.near_zero_v)

    def why(self, before: Step, step: Step) -> str:
        """Why a step must be done again; empty where its verdict stands."""
        if not asks_the_same(before, step):
            return ASKED_OTHERWISE
        if not self._joined_as_before(before, step):
            return "what is joined to chassis while it is read is something else now"
        if self._wants_contact_proved(step):
            return "contact was by the operator's word, and the profile wants it proved now"
        if not self._found.matters:
            return ""
        at = (
            self.after.own_contact(step, self._crimped)
            or self.after.near(step, self._near)
            or self.after.near(step, self._newly_near(step))
        )
        if at:
            return f"the wiring at {at} was changed"
        in_group = self.after.in_groups(step, {group: at or step.red for group, at in self._groups.items()})
        if in_group:
            return f"the net of {in_group} was changed"
        passed = self.after.on_way(step, self._ways) or self.before.on_way(before, self._ways_before)
        if passed:
            return f"the current goes through {passed}, which was changed"
        return self._of_device(step)

    def _of_device(self, step: Step) -> str:
        """Units, buses and links that are others now, or are described otherwise."""
        unit = str(step.settings.get("unit", ""))
        with_units = step.check not in GATE_CHECKS and (step.stage is Stage.LIVE or bool(step.state.on_unit))
        if unit in self._found.units and with_units:
            return f"{unit} is another unit now, or is described otherwise"
        bus, link = str(step.settings.get("bus", "")), str(step.settings.get("link", ""))
        if bus in self._buses and step.stage is Stage.LIVE:
            return f"{bus} is described otherwise"
        return f"{link} is described otherwise" if link in self._links and step.stage is Stage.LIVE else ""

    def _joined_as_before(self, before: Step, step: Step) -> bool:
        """Whether all that is joined to the black lead now was joined to it then, by conducting group."""
        if step.check not in APART or before.state == step.state:
            return True
        number = self.after.groups.number
        then = {number.get(contact, -1) for contact in black_side(self._old, before)}
        # what hangs on a clip because it is still there need not have hung there then
        wanted = {
            *must_be_joined(step),
            *black_side(self._new, replace(step, state=replace(step.state, links=frozenset()))),
        }
        return {number.get(contact, -1) for contact in wanted} <= then

    def _newly_near(self, step: Step) -> Mapping[Pair, str]:
        """Pairs that are near only by what has come into the groups that a step reads."""
        if not self._shifted:
            return {}
        number, then = self.after.groups.number, self.before.groups.number
        found: dict[Pair, str] = {}
        for contact in (step.red, *black_side(self._new, step)):
            found |= self._shifted.get((number.get(contact, -1), then.get(contact, -1)), {})
        return found


def asks_the_same(before: Step, step: Step) -> bool:
    """Whether two steps of one name ask the same thing of the same contacts, with the same limit."""
    ends, ends_before = (step.red, step.black), (before.red, before.black)
    if step.quantity is Quantity.OHMS:  # ohms have no direction
        ends, ends_before = tuple(sorted(ends)), tuple(sorted(ends_before))  # type: ignore[assignment]
    same = (before.check, before.stage, before.quantity, ends_before, before.load_a) == (
        step.check,
        step.stage,
        step.quantity,
        ends,
        step.load_a,
    )
    return (
        same
        and same_limit(before.basis or before.band, step.basis or step.band)
        and same_state(step, before.state)
        and _settings(before) == _settings(step)
    )


def _settings(step: Step) -> dict[str, object]:
    def rounded(value: object) -> object:
        return float(f"{value:.6g}") if isinstance(value, float) else value

    return {key: rounded(value) for key, value in step.settings.items() if key not in NOT_OF_THE_READING}


def _is_joint(harness: Harness, contact: str) -> bool:
    connector = harness.connectors.get(ref_of(contact))
    return connector is not None and connector.family in JOINTS


def _ways(side: Dependents, contacts: Iterable[str], conductors: Collection[str]) -> list[tuple[str, Way]]:
    circuit = side.circuit(ALL_OPEN)
    found = [(contact, Way(circuit, contact)) for contact in contacts]
    return found + [(name, Way(circuit, edge=name)) for name in sorted(conductors) if name in circuit.edges]


def _shifted(before: Dependents, after: Dependents, laid: Collection[str]) -> dict[tuple[int, int], dict[Pair, str]]:
    """(group now, group then) -> the pairs near it by contacts that came to it from elsewhere.

    A reading taken at a contact spoke of the group that it was in then. Where another group, or a contact that nothing
    was wired to, has joined it, the reading said nothing of what lies near those.
    """
    then = before.groups.number
    unchanged = {frozenset(members) for members in before.groups.members}
    found: dict[tuple[int, int], dict[Pair, str]] = {}
    for group, members in enumerate(after.groups.members):
        if frozenset(members) in unchanged:
            continue
        pieces: dict[int, list[str]] = {}
        for contact in members:
            pieces.setdefault(then.get(contact, -1), []).append(contact)
        for piece in pieces:
            near: dict[Pair, str] = {}
            for other, ends in pieces.items():
                if other != piece:  # of what was wired already, nothing is known of its cables either
                    near |= after.near_pairs(ends, laid if other < 0 else None)
            found[group, piece] = near
    return found
