"""Link alive: does each talker of a serial line say what it should, at the planned speed?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, no_reading
from benchcheck.checks.rs232_idle import is_wired, tapped_contact
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict


@check_kind
class LinkAlive(CheckKind):
    name = "link_alive"
    stage = Stage.LIVE
    rank = 130
    title = "Each RS-232 talker heard at the planned speed"
    reasons = {
        "silent": "the talker is silent, or its wire does not come here",
        "garbage": "most likely another speed or framing than the profile says",
        "wrong_talker": "sentences, but not the ones expected: another unit, or transmit and receive exchanged",
        "bad_checksums": "most sentences fail their checksum: noise, a poor ground, a speed that is a little off",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        state = units_in(harness, plug_order(harness))
        for link in harness.links:
            for talk in link.talks:
                if not is_wired(context, link, talk):
                    continue
                contact = tapped_contact(link, talk)
                yield Step(
                    id=f"link_alive:{link.name}:{talk.sender}",
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.LINE,
                    state=state,
                    question=f"does {talk.sender} talk on {link.name} ({link.protocol}, {link.baud} {link.framing})?",
                    subject=(link.name, talk.sender, contact),
                    red=contact,
                    black=link.ground,
                    note="heard with receive and ground only, through the breakout lead: "
                    + (f"expects {', '.join(talk.types)}" if talk.types else "expects readable lines"),
                    settings={"link": link.name, "unit": talk.sender, "types": list(talk.types)},
                )

    def measure(self, step: Step) -> Measuring:
        reading = yield Request(
            Quantity.LINE,
            step.state,
            step.red,
            step.black,
            source=str(step.settings["link"]),
            sender=str(step.settings["unit"]),
        )
        return Judged(reading, self._verdict(step, reading))

    def _verdict(self, step: Step, reading: Reading) -> Verdict:
        if reading.state is ReadingState.NONE:
            return no_reading(reading)
        sentences, types = reading.detail.get("sentences"), reading.detail.get("types_sound")
        size = int(str(reading.detail.get("bytes", 0)))
        if not isinstance(sentences, Mapping) or not isinstance(types, Mapping):
            return Verdict(Outcome.UNSURE, "no_reading", "the listening counted nothing")
        good = int(sentences.get("good", 0)) + int(sentences.get("no_checksum", 0))
        bad = int(sentences.get("bad_checksum", 0))
        if size == 0:
            return self._fail("silent", "nothing was heard on this wire")
        if good == 0:
            return self._fail("bad_checksums" if bad else "garbage", f"{size} bytes, but no good sentence")
        if bad > good:
            return self._fail("bad_checksums", f"{good} good, {bad} bad")
        expected = step.settings.get("types")
        wanted = [str(name) for name in expected] if isinstance(expected, list) else []
        absent = [name for name in wanted if name not in types]
        if wanted and len(absent) == len(wanted):
            return self._fail(
                "wrong_talker", f"heard {', '.join(sorted(map(str, types)))}; expected {', '.join(wanted)}"
            )
        if absent:
            return Verdict(
                Outcome.UNSURE, "incomplete", f"{good} good sentences, but {', '.join(absent)} not heard yet"
            )
        return Verdict(Outcome.PASS, "alive", f"{good} good sentences, all expected types heard")

    def _fail(self, reason: str, text: str) -> Verdict:
        return Verdict(Outcome.FAIL, reason, f"{text}: {self.reasons[reason]}")
