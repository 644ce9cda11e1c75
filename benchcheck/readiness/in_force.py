"""Which result of each step is in force, as readings come in one after the other.

Three things take a verdict out of force. A FAIL is only replaced by a reading that settles it: a lost meter or a
skipped step leaves it standing. A step that the profile has changed since starts anew. And a step that failed and
passes now was worked on: whatever was proved of the conductors it touches was proved of another harness.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from benchcheck.plan.plan import GATE_CHECKS, Plan
from benchcheck.words.bench_state import BenchState
from benchcheck.words.reading import reading_from_json
from benchcheck.words.result import Result
from benchcheck.words.step import Stage, Step
from benchcheck.words.verdict import Outcome, Verdict

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
        touched = _groups(mended, conducting)
        feeds = {
            group for step in self._plan.steps if step.check == "feed_volts" for group in _groups(step, conducting)
        }
        for name, result in list(self.by_step.items()):
            step = result.step
            if step.id == mended.id or result.outcome is not Outcome.PASS or step.check not in OF_WHOLE_GROUPS:
                continue
            # a panel's contacts are read against whatever feeds were alive then
            of_no_unit = step.check == "no_volts" and not step.settings.get("unit")
            if touched & _groups(step, conducting) or (of_no_unit and touched & feeds):
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


def _groups(step: Step, conducting: Mapping[str, int]) -> frozenset[int]:
    if step.stage is Stage.DEAD:
        contacts: tuple[str, ...] = (step.red, step.black, *step.subject)
    else:
        contacts = (step.red,)  # the black lead lies on a ground that everything is read against
    return frozenset(conducting[contact] for contact in contacts if contact in conducting)


def is_changed(step: Step, body: Mapping[str, object]) -> bool:
    """Whether a recorded reading was taken of something else than the plan's step asks for now."""
    if any(
        body.get(key, now) != now for key, now in (("red", step.red), ("black", step.black), ("load_a", step.load_a))
    ):
        return True
    band = body.get("band")
    if "band" in body and isinstance(band, Mapping) != (step.band is not None):
        return True
    if step.band is not None and isinstance(band, Mapping):
        for key, now in (("low", step.band.low), ("high", step.band.high)):
            then = band.get(key)
            if (then is None) != (now is None):
                return True
            if now is not None and not math.isclose(float(str(then)), now, rel_tol=1e-6, abs_tol=1e-9):
                return True
    state = body.get("state")
    if not isinstance(state, Mapping):
        return False
    then_state = BenchState.from_json(state)
    if step.check in GATE_CHECKS and then_state.on_unit != step.state.on_unit:
        return True
    return (then_state.lifted, then_state.opened) != (step.state.lifted, step.state.opened)
