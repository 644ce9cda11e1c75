"""Which talks of a profile's links are to be heard in a recording: each one's verdict from the line that holds it.

A recording calls the line on which it listened to one talker `LINK:SENDER`; one called `LINK` alone is the talk of a
link that has a single talker.

not listened  UNSURE  the recording has no such line: nobody listened there, or nothing ever came
silent        FAIL    it has, and no byte came in time enough (3.5 periods, 1 s at least); UNSURE in less time
garbage       FAIL    bytes, but no good sentence (or readable line), or more bad ones than good ones
              UNSURE  so few bytes, all of them printable, that a sentence may have been cut at both ends
heard         PASS    good sentences, and every expected type among them
              UNSURE  some of the expected types have not come
              FAIL    none of them has: another talker; or one comes too slow or too fast, where the profile says how often
              UNSURE  one of them came irregularly (talk_rates has the rules)

The numbers are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.harness.model import Harness, Link, Talk
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.nmea import LONGEST_SENTENCE
from benchcheck.traffic.lines.talk_rates import Pace, rates_of, wrong_rates
from benchcheck.words.verdict import Outcome

SILENT_PERIODS = 3.5
SILENT_LEAST_S = 1.0


class TalkState(StrEnum):
    HEARD = "heard"
    SILENT = "silent"
    GARBAGE = "garbage"
    NOT_LISTENED = "not listened"


@dataclass(frozen=True, slots=True)
class TalkPresence:
    """Verdict and state of one talk; `line` is the name of the recording's line, empty where there is none."""

    link: str
    sender: str
    line: str
    verdict: Outcome
    state: TalkState
    text: str


def line_names(link: Link, talk: Talk) -> tuple[str, ...]:
    """What a recording may call the line of a talk, the most telling first."""
    own = f"{link.name}:{talk.sender}"
    return (own, link.name) if len(link.talks) == 1 else (own,)


def link_of_line(harness: Harness, name: str) -> Link | None:
    """The link that a line of a recording belongs to, by its name."""
    for link in harness.links:
        if name == link.name or any(name in line_names(link, talk) for talk in link.talks):
            return link
    return None


def judge_talks(
    harness: Harness,
    lines: Mapping[str, LineTally],
    recorded_s: float,
    unrecorded_s: Mapping[str, float] | None = None,
) -> list[TalkPresence]:
    """One entry for each talk of each link, in the profile's order.

    lines         the recording's lines by name; one on which nothing came has an empty tally
    recorded_s    how long was recorded
    unrecorded_s  by line, how much of that lies in gaps of the recorder
    """
    lost = unrecorded_s or {}
    return [_judge(link, talk, lines, recorded_s, lost) for link in harness.links for talk in link.talks]


def _judge(
    link: Link, talk: Talk, lines: Mapping[str, LineTally], recorded_s: float, unrecorded_s: Mapping[str, float]
) -> TalkPresence:
    line = next((name for name in line_names(link, talk) if name in lines), "")
    if not line:
        text = f"the recording has no line {link.name}:{talk.sender}: not listened to, or never a byte came"
        verdict, state = Outcome.UNSURE, TalkState.NOT_LISTENED
    else:
        lost_s = unrecorded_s.get(line, 0.0)
        verdict, state, text = _heard(talk, lines[line], max(0.0, recorded_s - lost_s))
        if lost_s and verdict is not Outcome.PASS:
            verdict = verdict if verdict is Outcome.UNSURE or state is not TalkState.HEARD else Outcome.UNSURE
            text += f"; for {lost_s:.2f} s not everything of this line was recorded"
    return TalkPresence(link.name, talk.sender, line, verdict, state, text)


def _heard(talk: Talk, tally: LineTally, recorded_s: float) -> tuple[Outcome, TalkState, str]:
    if not tally.bytes:
        if recorded_s < max(SILENT_LEAST_S, SILENT_PERIODS * talk.period_s):
            return Outcome.UNSURE, TalkState.SILENT, f"nothing came, but {recorded_s:g} s are too short to tell"
        return (
            Outcome.FAIL,
            TalkState.SILENT,
            f"nothing came in a recording of {recorded_s:.2f} s (period {talk.period_s:g} s)",
        )
    good, bad, what = tally.understood, tally.faulty, tally.form.noun
    size = "1 byte" if tally.bytes == 1 else f"{tally.bytes:,} bytes"
    if not good:
        if not bad and tally.bytes < LONGEST_SENTENCE and tally.printable_share == 1.0:
            return Outcome.UNSURE, TalkState.GARBAGE, f"{size} without a whole {what}: too few to tell"
        text = f"{size}, but no good {what}: another speed or framing?{framing_text(tally)}"
        return Outcome.FAIL, TalkState.GARBAGE, text
    if bad > good:
        kind = "with a bad checksum" if tally.form.is_summed else "garbled"
        text = f"{bad:,} {kind}, {good:,} good: noise, or a speed that is a little off{framing_text(tally)}"
        return Outcome.FAIL, TalkState.GARBAGE, text
    whats = f"1 good {what}" if good == 1 else f"{good:,} good {what}s"
    sound = sorted(kind for kind, found in tally.types.items() if found.sound)
    absent = [kind for kind in talk.types if kind not in sound]
    if absent and len(absent) == len(talk.types):
        came = ", ".join(sound[:8]) or "none"
        return Outcome.FAIL, TalkState.HEARD, f"{whats}, but of other types ({came}): another talker?"
    if absent:
        return Outcome.UNSURE, TalkState.HEARD, f"{whats}, but no {', '.join(absent)} among them"
    for rate in wrong_rates(rates_of(talk, tally)):
        sure = rate.pace is not Pace.IRREGULAR
        return Outcome.FAIL if sure else Outcome.UNSURE, TalkState.HEARD, f"{whats}; {rate.text}"
    return Outcome.PASS, TalkState.HEARD, whats


def framing_text(tally: LineTally) -> str:
    """What the port told of framing errors, to be put behind a sentence; empty where it told of none."""
    if not tally.framing_errors:
        return ""
    return f"; {tally.framing_errors:,} of the bytes with a framing error"
