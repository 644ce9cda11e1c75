"""Which result of each step is in force, as readings come in one after the other.

Four things take a verdict out of force. A FAIL is only replaced by a reading that settles it: a lost meter or a
skipped step leaves it standing. A step that the profile has changed since starts anew. And a step that failed and
passes now was worked on: whatever was proved of the conductors it touches was proved of another harness. And what was
reworked, or changed in the pin table, makes the steps that rest on it due again: the event names them.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping

from benchcheck.checks.isolation import APART_FROM
from benchcheck.plan.plan import GATE_CHECKS, Plan
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.reading import reading_from_json
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

# Checks whose PASS says something of whole conducting groups, and falls when one of them is worked on.
OF_WHOLE_GROUPS = (
    "isolation",
    "supply_to_ground",
    "can_to_rail",
    "termination",
    "part_value",
    *GATE_CHECKS,
    "rs232_idle",
    "can_level",
    "link_alive",
)

# Limits that differ by less are one limit: no meter at a bench reads finer than that (this tool's own choice).
SAME_LIMIT = 0.002


class InForce:
    """Results by step, taken in the order of the record."""

    def __init__(self, plan: Plan, by_step: Mapping[str, Result] | None = None) -> None:
        self._plan = plan
        self.by_step: dict[str, Result] = dict(by_step or {})

    def read(self, body: Mapping[str, object]) -> None:
        """Take the body of a `reading.taken` event; one that does not fit the plan's step is passed over."""
        step = self._plan.by_id.get(str(body["step"]))
        reading, said = body.get("reading"), body.get("verdict")
        if step is None or not isinstance(reading, Mapping) or not isinstance(said, Mapping):
            return
        if is_changed(step, body):
            self.by_step.pop(step.id, None)
            return
        verdict = Verdict(Outcome(str(said["outcome"])), str(said["reason"]), str(said["text"]))
        self.take(Result(step, reading_from_json(reading), verdict))

    def drop(self, name: str) -> None:
        """Take whatever is in force of a step out of force."""
        self.by_step.pop(name, None)

    def take(self, result: Result) -> None:
        """Put a result in force, where it may be."""
        before = self.by_step.get(result.step.id)
        failed = before is not None and before.outcome is Outcome.FAIL
        if failed and result.outcome in (Outcome.UNSURE, Outcome.SKIPPED):
            return
        self.by_step[result.step.id] = result
        if failed and result.outcome is Outcome.PASS:
            self._worked_on(result.step)

    def _worked_on(self, mended: Step) -> None:
        """Take out of force what was proved of the conducting groups that a mended step touches."""
        if mended.stage is not Stage.DEAD:
            if mended.check in GATE_CHECKS:
                self._joint_mended(mended)
            return  # a unit that talks again says nothing new of the wires
        conducting = self._plan.conducting
        touched = _proved_of(mended, self._plan)
        feeds = {
            group for step in self._plan.steps if step.check == "feed_volts" for group in _groups(step, conducting)
        }
        for name, result in list(self.by_step.items()):
            step = result.step
            if step.id == mended.id or result.outcome is not Outcome.PASS or step.check not in OF_WHOLE_GROUPS:
                continue
            # a panel's contacts are read against whatever feeds were alive then
            of_no_unit = step.check == "no_volts" and not step.settings.get("unit")
            if touched & _proved_of(step, self._plan) or (of_no_unit and touched & feeds):
                del self.by_step[name]

    def _joint_mended(self, mended: Step) -> None:
        """A joint or a source was mended: what was read at the same contacts, and of the same unit under power."""
        contacts = {mended.red, mended.black} - {""}
        unit = mended.settings.get("unit")
        for name, result in list(self.by_step.items()):
            step = result.step
            if step.id == mended.id or result.outcome is not Outcome.PASS or step.check not in OF_WHOLE_GROUPS:
                continue
            of_unit = unit and step.check in GATE_CHECKS and step.settings.get("unit") == unit
            if of_unit or (step.stage is Stage.DEAD and contacts & {step.red, step.black}):
                del self.by_step[name]


def _proved_of(step: Step, plan: Plan) -> frozenset[int]:
    """The conducting groups that a step's verdict speaks of: those at its leads, and what clips and plugs join to them."""
    found = _groups(step, plan.conducting)
    if step.stage is Stage.DEAD and (step.state.links or step.state.plugs):
        found |= {plan.conducting[link] for link in step.state.links if link in plan.conducting}
        found = found.union(*(plan.on_connector.get(ref, frozenset()) for ref in step.state.plugs))
    return found


def _groups(step: Step, conducting: Mapping[str, int]) -> frozenset[int]:
    if step.stage is Stage.DEAD:
        contacts: tuple[str, ...] = (step.red, step.black, *step.subject)
    else:
        contacts = (step.red,)  # the black lead lies on a ground that everything is read against
    return frozenset(conducting[contact] for contact in contacts if contact in conducting)


def naming(plan: Plan, contacts: Collection[str], runs: Collection[str], connectors: Collection[str]) -> list[str]:
    """Steps that name any of these, and those of whole conducting groups at their contacts: by the plan alone."""
    ends = set(contacts)
    for step in plan.steps:
        if step.check == "continuity" and step.subject[0] in runs:
            ends |= {step.red, step.black, *step.subject[1:]}
    ends |= {contact for contact in plan.conducting if ref_of(contact) in connectors}
    groups = {plan.conducting[end] for end in ends if end in plan.conducting}
    found = []
    for step in plan.steps:
        about = {step.red, step.black, *step.subject} - {""}
        named = bool(about & {*contacts, *runs, *connectors}) or any(ref_of(name) in connectors for name in about)
        if named or (step.check in OF_WHOLE_GROUPS and groups & _groups(step, plan.conducting)):
            found.append(step.id)
    return found


def is_changed(step: Step, body: Mapping[str, object]) -> bool:
    """Whether a recorded reading was taken of something else than the plan's step asks for now."""
    red, black = body.get("red", step.red), body.get("black", step.black)
    turned = step.quantity is Quantity.OHMS and (red, black) == (step.black, step.red)  # ohms have no direction
    if ((red, black) != (step.red, step.black) and not turned) or body.get("load_a", step.load_a) != step.load_a:
        return True
    # a limit that another day's temperature has moved is the same limit: compared at the profile's own temperature
    band = body.get("basis") or body.get("band")
    if "band" in body and not same_limit(_band(band), step.basis or step.band):
        return True
    state = body.get("state")
    if not isinstance(state, Mapping):
        return False
    then = BenchState.from_json(state)
    return not (same_state(step, then) and _reached(step, then))


def same_limit(then: Band | None, now: Band | None) -> bool:
    """Whether two limits are one for whatever a meter may read. Their sources don't count."""
    if then is None or now is None:
        return then is now
    return all(
        low is high if low is None or high is None else math.isclose(low, high, rel_tol=SAME_LIMIT, abs_tol=1e-9)
        for low, high in ((then.low, now.low), (then.high, now.high))
    )


def same_state(step: Step, then: BenchState) -> bool:
    """Whether what was lifted, pulled and, where it decides, plugged in was what the step wants."""
    if step.check in GATE_CHECKS and then.on_unit != step.state.on_unit:
        return False
    return (then.lifted, then.opened, then.coded) == (step.state.lifted, step.state.opened, step.state.coded)


def must_be_joined(step: Step) -> frozenset[str]:
    """The contacts that must be joined to the black lead for a step to prove what it is there for.

    Some are joined with them only because their clip is still on. Those of plugs are not among them.
    """
    wanted = step.settings.get(APART_FROM)
    return frozenset(str(name) for name in wanted) if isinstance(wanted, list) else step.state.links


def _reached(step: Step, then: BenchState) -> bool:
    """Whether all that a step wants joined to chassis was joined; more than that proved more."""
    links = {link for link in must_be_joined(step) if ref_of(link) not in then.plugs}
    return links <= then.links and step.state.plugs <= then.plugs


def _band(document: object) -> Band | None:
    if not isinstance(document, Mapping):
        return None
    low, high = (None if document.get(key) is None else float(str(document[key])) for key in ("low", "high"))
    return Band(low, high, "", "")
