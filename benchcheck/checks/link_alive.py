"""Link alive: does each talker of a serial line say what it should, at the planned speed, as often as it should?

Before a wire is listened to, its idle level must have been read (`rs232_idle`): a wire that nothing drives, or that is at
no RS-232 level, is not joined to the tap. What is heard is judged together with that level. Where bytes come but no
sentence, the listening has looked for another speed; what it found is in the reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from benchcheck.checks.kind import CheckKind, Context, Judged, Measuring, check_kind, no_reading
from benchcheck.checks.rs232_idle import STRONGEST_V, is_wired, level_of, step_name, tapped_contact
from benchcheck.harness.model import Harness, Link
from benchcheck.harness.power import plug_order, units_in
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict

NO_IDLE = "idle_level"
"""Under this key a reading says that no idle level is known, because there is nothing but a recording."""

_UNJOINED = {
    "not_driven": "nothing drives this wire, so whatever is heard on it would prove nothing: a dead transmitter, a unit "
    "without power, or another wire",
    "undefined": "that is no RS-232 level: a failing transmitter, or logic levels",
    "too_strong": "that is more than RS-232 gives: another supply or signal may be on this wire",
}


@check_kind
class LinkAlive(CheckKind):
    name = "link_alive"
    stage = Stage.LIVE
    rank = 130
    title = "Each RS-232 talker heard at the planned speed"
    reasons = {
        "silent": "the talker is silent, or its wire does not come here",
        "wrong_speed": "set the talker, or correct the profile",
        "garbage": "most likely another protocol, two talkers on one wire, or a poor signal",
        "inverted": "inverted levels, or the wrong wire of the pair",
        "wrong_talker": "sentences, but not the ones expected: another unit, or transmit and receive exchanged",
        "bad_checksums": "most sentences fail their checksum: noise, a poor ground, a speed that is a little off",
        "too_slow": "it says what it should, but less often than the profile states",
        "too_fast": "it says what it should, but more often than the profile states",
        "irregular": "it says what it should, but with breaks",
    }

    def steps(self, context: Context) -> Iterable[Step]:
        harness = context.harness
        state = units_in(harness, plug_order(harness))
        for link in harness.links:
            for talk in link.talks:
                if not is_wired(context, link, talk):
                    continue
                contact = tapped_contact(link, talk)
                speed = f"{link.baud} {link.framing}" if link.baud else "speed not known"
                yield Step(
                    id=f"link_alive:{link.name}:{talk.sender}",
                    check=self.name,
                    stage=self.stage,
                    quantity=Quantity.LINE,
                    state=state,
                    question=f"does {talk.sender} talk on {link.name} ({link.protocol}, {speed})?",
                    subject=(link.name, talk.sender, contact),
                    red=contact,
                    black=link.ground,
                    note="heard with receive and ground only, through the breakout lead: "
                    + (f"expects {', '.join(talk.types)}" if talk.types else "expects readable lines"),
                    settings={
                        "link": link.name,
                        "unit": talk.sender,
                        "types": list(talk.types),
                        "elsewhere": _said_elsewhere(harness, link, talk.sender),
                    },
                )

    def measure(self, step: Step) -> Measuring:
        idle = yield Request(Quantity.EARLIER, step.state, source=step_name(step.subject[0], step.subject[1]))
        refused = _refused(step, idle)
        if refused is not None:
            return Judged(Reading.none(refused.text, "bytes"), refused)
        reading = yield Request(
            Quantity.LINE,
            step.state,
            step.red,
            step.black,
            source=str(step.settings["link"]),
            sender=str(step.settings["unit"]),
        )
        if idle.state is ReadingState.VALUE:
            reading = replace(reading, detail={**reading.detail, "idle_v": idle.value})
        return Judged(reading, self._verdict(step, reading, idle))

    def _verdict(self, step: Step, reading: Reading, idle: Reading) -> Verdict:
        if reading.state is ReadingState.NONE:
            return no_reading(reading)
        sentences, types = reading.detail.get("sentences"), reading.detail.get("types_sound")
        size = int(str(reading.detail.get("bytes", 0)))
        if not isinstance(sentences, Mapping) or not isinstance(types, Mapping):
            return Verdict(Outcome.UNSURE, "no_reading", "the listening counted nothing")
        good = int(sentences.get("good", 0)) + int(sentences.get("no_checksum", 0))
        bad = int(sentences.get("bad_checksum", 0))
        if reading.detail.get("summed") is False:  # garbage is told by lines that are none
            bad += int(sentences.get("other", 0))
        positive = idle.state is ReadingState.VALUE and idle.value > 0
        held = f", which is held at {idle.text}" if idle.state is ReadingState.VALUE else ""
        if size == 0:
            return self._fail("inverted" if positive else "silent", f"nothing was heard on this wire{held}")
        if good == 0 and positive:
            text = f"{_size(reading, size)}, but no good sentence, and the wire is at {idle.text} while idle"
            return self._fail("inverted", text)
        if good == 0 or bad > good:
            return self._unintelligible(reading, size, good, bad)
        return self._heard(step, reading, good, [str(name) for name in types])

    def _unintelligible(self, reading: Reading, size: int, good: int, bad: int) -> Verdict:
        speed = _speed(reading)
        if speed.get("state") == "found" and not speed.get("as_planned"):
            return self._fail("wrong_speed", str(speed.get("text")))
        looked = f"; {speed['text']}" if speed.get("text") else ""
        if bad > good:
            return self._fail("bad_checksums", f"{good} good, {bad} bad{_framing(reading)}{looked}")
        begins = f"; they begin {reading.detail['begins']}" if reading.detail.get("begins") else ""
        return self._fail("garbage", f"{_size(reading, size)}, but no good sentence{begins}{looked}")

    def _heard(self, step: Step, reading: Reading, good: int, types: list[str]) -> Verdict:
        expected, elsewhere = step.settings.get("types"), step.settings.get("elsewhere")
        wanted = [str(name) for name in expected] if isinstance(expected, list) else []
        absent = [name for name in wanted if name not in types]
        if wanted and len(absent) == len(wanted):
            owners = elsewhere if isinstance(elsewhere, Mapping) else {}
            whose = sorted({str(owners[name]) for name in types if name in owners})
            said = f", which is what {' and '.join(whose)} should say" if whose else ""
            text = f"heard {', '.join(sorted(types))}{said}; expected {', '.join(wanted)}"
            return self._fail("wrong_talker", text)
        if absent:
            return Verdict(
                Outcome.UNSURE, "incomplete", f"{good} good sentences, but {', '.join(absent)} not heard yet"
            )
        rates = reading.detail.get("rates")
        for rate in rates if isinstance(rates, list) else []:
            if isinstance(rate, Mapping) and (code := str(rate.get("pace")).replace(" ", "_")) in self.reasons:
                return self._fail(code, str(rate.get("text")))
        speed = _speed(reading)
        found = f"; {speed['text']}" if speed.get("text") else ""
        return Verdict(
            Outcome.PASS, "alive", f"{good} good sentences, all expected types heard{_framing(reading)}{found}"
        )

    def _fail(self, reason: str, text: str) -> Verdict:
        return Verdict(Outcome.FAIL, reason, f"{text}: {self.reasons[reason]}")


def _refused(step: Step, idle: Reading) -> Verdict | None:
    """Why the tap is not joined to this contact; None where it may be."""
    if NO_IDLE in idle.detail:
        return None  # a recording: nothing is joined any more
    if idle.state is not ReadingState.VALUE:
        why = str(idle.detail.get("why") or idle.text)
        text = f"not joined to the tap: the idle level of {step.red} is not known ({why}); measure it first"
        return Verdict(Outcome.UNSURE, "idle_not_known", text)
    level = level_of(idle.value)
    if level in _UNJOINED:
        text = f"not joined to the tap: {step.red} was at {idle.text} while idle; {_UNJOINED[level]}"
        return Verdict(Outcome.UNSURE, "no_driven_level", text)
    if idle.value > -STRONGEST_V:
        text = f"not joined to the tap: {step.red} was at {idle.text} while idle; {_UNJOINED['too_strong']}"
        return Verdict(Outcome.UNSURE, "no_driven_level", text)
    return None


def _said_elsewhere(harness: Harness, link: Link, sender: str) -> dict[str, str]:
    """Type -> the one talker on another wire that should say it; of types that a single one does."""
    found: dict[str, set[str]] = {}
    for other in harness.links:
        for talk in other.talks:
            for kind in talk.types:
                found.setdefault(kind, set()).add(f"{talk.sender} on {other.name}")
    own = f"{sender} on {link.name}"
    return {kind: next(iter(who)) for kind, who in sorted(found.items()) if len(who) == 1 and own not in who}


def _size(reading: Reading, size: int) -> str:
    return f"{size} byte{'' if size == 1 else 's'}{_framing(reading)}"


def _framing(reading: Reading) -> str:
    """What the port told of framing errors; nothing where it told of none."""
    errors = reading.detail.get("framing_errors")
    return f" ({errors} with a framing error)" if isinstance(errors, int) and errors > 0 else ""


def _speed(reading: Reading) -> Mapping[str, object]:
    """What was found where another speed was looked for; empty where it was not."""
    speed = reading.detail.get("speed")
    return speed if isinstance(speed, Mapping) else {}
