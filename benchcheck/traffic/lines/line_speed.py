"""What speed and framing a serial line has, from what was heard of it at several: which trial makes sense, and how sure.

A receiver at a wrong speed reads other bytes off the same levels: what comes is not text, or text that is no sentence. So
each trial is judged by its sentences: at least two, and ten times as many as were bad. Where the protocol has no checksum,
nearly all bytes must be printable as well, or garbage that happens to hold a line end would do.

A receiver can't tell two stop bits from one, for a second one looks like a pause.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum

from benchcheck.traffic.lines.line_tally import LineTally

SPEEDS = (4800, 9600, 38400, 115200, 19200, 57600, 2400, 1200)
"""By how common they are on such lines (IEC 61162-1: 4,800; IEC 61162-2: 38,400; the others common practice, no source)."""
FRAMINGS = ("8N1", "7E1", "7O1", "8E1", "8O1")
ENOUGH_SENTENCES = 2
GOOD_FOR_BAD = 10
PRINTABLE_SHARE = 0.98
_FEW_BYTES = 8


class SpeedState(StrEnum):
    FOUND = "found"
    SILENT = "silent"  # nothing came at any speed
    UNCLEAR = "unclear"  # something came, and none of it makes sense


@dataclass(frozen=True, slots=True)
class Trial:
    """What came at one speed and framing. The tally may still be fed; `heard_s` is how long it was listened to."""

    baud: int
    framing: str
    tally: LineTally
    heard_s: float

    @property
    def name(self) -> str:
        return f"{self.baud} {self.framing}"

    @property
    def plural(self) -> str:
        """What its sentences or lines are called."""
        return f"{self.tally.form.noun.split()[-1]}s"


@dataclass(frozen=True, slots=True)
class SpeedFound:
    """The answer: a sentence for a person, and the trial it rests on, None where none makes sense."""

    state: SpeedState
    text: str
    best: Trial | None = None


@dataclass(frozen=True, slots=True)
class SpeedSaid:
    """What was found where a talker's speed was looked for, as far as a verdict rests on it: fit for a mark in a capture.

    as_planned  whether what was found is what the profile says, or the profile says nothing
    """

    state: str
    text: str
    baud: int
    framing: str
    as_planned: bool

    def to_json(self) -> dict[str, object]:
        return asdict(self)

    @classmethod
    def from_json(cls, body: object) -> SpeedSaid | None:
        """What `to_json` wrote; None where it did not."""
        if not isinstance(body, Mapping):
            return None
        state, text, baud, framing, planned = (
            body.get(key) for key in ("state", "text", "baud", "framing", "as_planned")
        )
        if not (isinstance(state, str) and isinstance(text, str) and isinstance(framing, str)):
            return None
        if isinstance(baud, bool) or not isinstance(baud, int) or not isinstance(planned, bool):
            return None
        return cls(state, text, baud, framing, planned)


def said_of(found: SpeedFound, baud: int, framing: str) -> SpeedSaid:
    """The answer of a search at a talker for which the profile says this; `baud` 0: it says no speed."""
    best = found.best
    if best is None:
        return SpeedSaid(found.state.value, found.text, baud, framing, False)
    planned = best.name == f"{baud} {framing}" or not baud
    text = found.text
    if not baud:
        text = f"the profile gives no speed; it is {best.name}, by {best.tally.understood} good {best.plural}"
    return SpeedSaid(found.state.value, text, best.baud, best.framing, planned)


def trials_in_order(baud: int, framing: str, framings: Sequence[str] = FRAMINGS) -> list[tuple[int, str]]:
    """Speeds and framings to listen at: what was planned, the other speeds with that framing, then other framings."""
    speeds = [baud, *(speed for speed in SPEEDS if speed != baud)]
    forms = [framing, *(other for other in framings if other != framing)]
    return [(speed, form) for form in forms for speed in speeds]


def makes_sense(tally: LineTally) -> bool:
    """Whether so much of what was heard is sentences that the speed must be right."""
    if tally.understood < ENOUGH_SENTENCES or tally.understood < GOOD_FOR_BAD * tally.bad_checksum:
        return False
    if tally.good >= ENOUGH_SENTENCES and tally.good >= tally.other:
        return True
    share = tally.printable_share
    return share is not None and share >= PRINTABLE_SHARE and tally.understood >= GOOD_FOR_BAD * tally.other


def is_garbage(tally: LineTally) -> bool:
    """Whether what was heard is surely not text at this speed, so that listening on is of no use."""
    share = tally.printable_share
    return tally.bytes >= 40 and share is not None and share < 0.9 and not tally.understood


def judge_speed(trials: Sequence[Trial], baud: int, framing: str) -> SpeedFound:
    """The answer from all trials; `baud` and `framing` are those of the profile."""
    planned = f"{baud} {framing}"
    sensible = [trial for trial in trials if makes_sense(trial.tally)]
    if sensible:
        best = max(sensible, key=lambda trial: (trial.name == planned, trial.tally.understood))
        count = f"{best.tally.understood} good {best.plural}"
        stop = "; one stop bit or two, a listener can't tell" if best.framing.endswith(("1", "2")) else ""
        if best.name == planned:
            return SpeedFound(SpeedState.FOUND, f"it is {planned}, as the profile says: {count}", best)
        return SpeedFound(SpeedState.FOUND, f"looks like {best.name}, profile says {planned}: {count}{stop}", best)
    most = max((trial.tally.bytes for trial in trials), default=0)
    if most < _FEW_BYTES:
        speeds = len({trial.baud for trial in trials})
        what = "nothing came" if not most else f"no more than {most} bytes came"
        return SpeedFound(
            SpeedState.SILENT, f"{what} at any of {speeds} speeds: no talker, or its wire does not come here"
        )
    return SpeedFound(
        SpeedState.UNCLEAR,
        f"bytes came, but at none of {len(trials)} speeds and framings do they make sentences: "
        "another protocol, two talkers on one wire, or a poor signal",
    )
