"""Loop-back: what is sent out on one wire of a link comes back on the other one, over a bridge at the far connector.

It sends, so it is planned only where the profile asks for it (`loop_back = true` at the link), and done only where the
command allows it. Units are out and the supply is off. Both wires must be quiet before the tap's transmitter is joined, and
nothing may come back before the bridge is in: then it came over the bridge, and so along both wires.
"""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, no_reading
from benchcheck.checks.rs232_idle import is_wired
from benchcheck.harness.model import Link
from benchcheck.words.bench_state import ALL_OPEN
from benchcheck.words.contact import ref_of
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict

QUIET_V = 0.5  # a wire that nobody drives, at an open connector (common practice, no source)


@check_kind
class LoopBack(CheckKind):
    name = "loop_back"
    stage = Stage.POWER
    rank = 5
    title = "Loop-back over a bridge at the far connector, where the profile asks for it"
    reasons = {
        "nothing_back": "one of the two wires is open, in another contact, or on ground",
        "without_bridge": "the two wires are joined, or the tap hears itself",
        "changed": "a poor joint, a wire that is too long for this speed, or a port that does not take it",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        for link in context.harness.links:
            ways = loop_ways(link) if link.loop_back else None
            if ways is None or not all(is_wired(context, link, talk) for talk in link.talks):
                continue
            send, hear, bridge = ways
            yield Step(
                id=f"loop_back:{link.name}",
                check=self.name,
                stage=self.stage,
                quantity=Quantity.LOOP,
                state=ALL_OPEN,
                question=f"does what is sent into {send} come back at {hear}, with {bridge[0]} and {bridge[1]} bridged?",
                subject=(link.name, send, hear, *bridge),
                red=send,
                black=hear,
                note="the tap sends: with leave only; every unit of this link is out",
                settings={"link": link.name, "ground": link.ground, "bridge": list(bridge)},
            )

    def measure(self, step: Step) -> Measuring:
        for contact in (step.red, step.black):
            level = yield Request(Quantity.VOLTS, step.state, contact, str(step.settings["ground"]))
            if level.state is not ReadingState.VALUE:
                return Judged(level, no_reading(level))
            if abs(level.value) > QUIET_V:
                text = f"nothing was sent: {contact} is at {level.text}, so something drives it"
                return Judged(level, Verdict(Outcome.UNSURE, "driven", text))
        link, bridge = str(step.settings["link"]), (step.subject[3], step.subject[4])
        before = yield Request(Quantity.LOOP, step.state, step.red, step.black, source=link)
        if before.state is not ReadingState.VALUE:
            return Judged(before, no_reading(before))
        if before.value:
            return Judged(before, self._fail("without_bridge", f"{_count(before)} came back without the bridge"))
        reading = yield Request(Quantity.LOOP, step.state, step.red, step.black, source=link, bridge=bridge)
        return Judged(reading, self._verdict(reading))

    def _verdict(self, reading: Reading) -> Verdict:
        if reading.state is not ReadingState.VALUE:
            return no_reading(reading)
        sent = reading.detail.get("sent")
        if reading.detail.get("same") is True:
            return Verdict(Outcome.PASS, "came_back", f"{_count(reading)} came back as they were sent")
        if not reading.value:
            return self._fail("nothing_back", f"of {sent} bytes nothing came back")
        at = reading.detail.get("differs_at")
        return self._fail("changed", f"{_count(reading)} came back for {sent}; the first difference is at byte {at}")

    def _fail(self, reason: str, text: str) -> Verdict:
        return Verdict(Outcome.FAIL, reason, f"{text}: {self.reasons[reason]}")


def loop_ways(link: Link) -> tuple[str, str, tuple[str, str]] | None:
    """Where it is sent and heard at the tapped connector, and the two far contacts to bridge; None where there is no pair."""
    out = next((talk for talk in link.talks if ref_of(talk.tx) == link.tap), None)
    back = next((talk for talk in link.talks if ref_of(talk.rx) == link.tap), None)
    if out is None or back is None or ref_of(out.rx) != ref_of(back.tx):
        return None
    return out.tx, back.rx, (out.rx, back.tx)


def _count(reading: Reading) -> str:
    return "1 byte" if reading.value == 1 else f"{reading.value:.0f} bytes"
