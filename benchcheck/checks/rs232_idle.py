"""RS-232 idle level: a living transmitter holds its wire at -3 V or below while it says nothing.

A receiver takes an unplugged or grounded input for "idle", so a quiet line proves nothing: the wire is
measured. The contact is touched at the tapped connector through a breakout lead, units in.
"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, check_kind
from benchcheck.harness.model import Link, Talk
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import ref_of
from benchcheck.words.reading import Reading
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band, Outcome, Verdict

# TIA-232-F: mark at the receiver; a driver gives at most 15 V into a receiver.
MARK_V, STRONGEST_V = -3.0, -15.0
# A line that talks spends part of its time at space, so the mean that a meter shows lies above the mark. Up to here
# that is the likelier story of a driver of 5 V and more; above it the line would talk without pause or the driver is
# none (common practice, no source).
BUSY_V = -1.0
NOT_DRIVEN_V = 1.0  # a wire that is left alone takes up no more than that (common practice, no source)


@check_kind
class Rs232Idle(CheckKind):
    name = "rs232_idle"
    stage = Stage.POWER
    rank = 110
    title = "RS-232 idle level of each transmitter"
    reasons = {
        "not_driven": "nothing drives this wire: the transmitter is dead, or transmit and receive are exchanged",
        "inverted": "positive while idle: inverted levels, the wrong wire of the pair, a held break, or logic levels instead of RS-232",
        "undefined": "between -3 and +3 V: no RS-232 level; a loaded or failing transmitter",
        "too_strong": "below -15 V: more than RS-232 lets a loaded driver give (25 V at most with nothing on it); another supply or signal is on this wire",
        "busy_line": "above the mark level, as the mean of a line that talks may be: listen to it, or read again in a pause",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        state = units_in(context.harness, plug_order(context.harness))
        for link in context.harness.links:
            for talk in link.talks:
                contact = tapped_contact(link, talk)
                if not is_wired(context, link, talk):
                    continue
                yield Step(
                    id=step_name(link.name, talk.sender),
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.VOLTS,
                    state=state,
                    question=f"does {talk.sender} hold {contact} at a mark level ({link.name})?",
                    subject=(link.name, talk.sender, contact),
                    red=contact,
                    black=link.ground,
                    band=Band(STRONGEST_V, MARK_V, "V", "TIA-232-F: mark is -3 to -15 V at the receiver"),
                    settings={"unit": talk.sender, "link": link.name, "talk": talk.tx},
                )

    def judge(self, step: Step, reading: Reading) -> Verdict:
        verdict = super().judge(step, reading)
        if verdict.outcome is Outcome.FAIL and MARK_V < reading.value <= BUSY_V:
            text = f"{reading.text}: {self.reasons['busy_line']}"
            return Verdict(Outcome.UNSURE, "busy_line", text)
        return verdict

    def fail_reason(self, step: Step, reading: Reading) -> str:
        level = level_of(reading.value)
        return "undefined" if level in ("mark", "busy_line") else level


def step_name(link: str, sender: str) -> str:
    """The name of the step that reads the idle level of a talker."""
    return f"rs232_idle:{link}:{sender}"


def level_of(value_v: float) -> str:
    """What a level in volts of a wire at rest means: `mark`, `busy_line`, or the reason code of a FAIL."""
    if value_v > -MARK_V:
        return "inverted"
    if value_v < STRONGEST_V:
        return "too_strong"
    if abs(value_v) < NOT_DRIVEN_V:
        return "not_driven"
    if value_v <= MARK_V:
        return "mark"
    return "busy_line" if value_v <= BUSY_V else "undefined"


def is_wired(context: Context, link: Link, talk: Talk) -> bool:
    """Whether a talk's wire comes to the tapped connector, and its ground: runs that are only planned don't."""
    contact, grounds = tapped_contact(link, talk), context.nets.net_of(link.ground)
    joined = contact in context.circuit(ALL_OPEN).component(talk.tx)
    return joined and context.nets.net_of(contact) is not None and grounds is not None


def tapped_contact(link: Link, talk: Talk) -> str:
    """The end of a talk's wire at the connector where the link is tapped."""
    return talk.tx if ref_of(talk.tx) == link.tap else talk.rx
