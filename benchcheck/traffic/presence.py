"""Who is there: each unit's verdict from what was heard of the identifiers it is expected to send.

Pure: fed a tally, live or read back, and times in nanoseconds of the same clock as the stamps.

Rules (times are common practice, no source, unless the profile gives them):

silences       what lies in a silence of the whole bus, or is made by a step of the recorder's clock, is nobody's gap
present        PASS    heard, and none of the states below
missing        FAIL    a periodic identifier not heard once, after time enough to boot and for 2.5 periods
               UNSURE  nothing heard of a unit that sends only on occasion, or not time enough yet
late           FAIL    power-on is known, and the first frame came later than `boot_s` (0.05 s of slack for stamps)
lost           FAIL    last heard longer ago than 5 periods and 1 s before the end, while the bus went on
intermittent   FAIL    at least one gap that ended, longer than 3.5 periods and 0.25 s
unexpected     FAIL    an identifier that no expected unit sends, one entry each: the harness has a sender, or a unit
                       a setting, that the profile does not know
can't tell     UNSURE  nothing at all was heard on the bus (the state is empty); the whole bus was silent to the end;
                       the only talker of a bus paused, which can't be told from a silence of the bus

An identifier without a period (sent once, or in bursts), or heard only once, is never intermittent and never lost.
Frames that the recorder dropped may be the ones that are not there: with any, no absence is a FAIL, but UNSURE.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.traffic.bus_tally import BusTally, IdKey, Watch
from benchcheck.traffic.pieces import SECOND_NS
from benchcheck.traffic.source_tally import Gap, SourceTally
from benchcheck.words.verdict import Outcome

INTERMITTENT_PERIODS = 3.5
INTERMITTENT_LEAST_S = 0.25
LOST_PERIODS = 5.0
LOST_LEAST_S = 1.0
MISSING_PERIODS = 2.5
STAMP_SLACK_S = 0.05


class PresenceState(StrEnum):
    PRESENT = "present"
    MISSING = "missing"
    LATE = "late"
    LOST = "lost"
    INTERMITTENT = "intermittent"
    UNEXPECTED = "unexpected"
    UNKNOWN = ""


@dataclass(frozen=True, slots=True)
class UnitExpectation:
    """What one unit is expected to send on one bus: (identifier, extended, period in seconds or None), and how long
    it takes at most from power on to its first frame."""

    unit: str
    ids: tuple[tuple[int, bool, float | None], ...]
    boot_s: float


@dataclass(frozen=True, slots=True)
class UnitPresence:
    """Verdict, state and evidence. Stamps are the recorder's, in seconds of the tally's clock (not from its start).

    first_ns, last_ns  first and last frame of the unit
    max_gap_ns         longest time between two frames of the unit, silences of the whole bus included
    text               a sentence for a person
    """

    unit: str
    verdict: Outcome
    state: PresenceState
    first_ns: int | None
    last_ns: int | None
    max_gap_ns: int | None
    text: str

    @property
    def first_s(self) -> float | None:
        return None if self.first_ns is None else self.first_ns / SECOND_NS

    @property
    def last_s(self) -> float | None:
        return None if self.last_ns is None else self.last_ns / SECOND_NS

    @property
    def max_gap_s(self) -> float | None:
        return None if self.max_gap_ns is None else self.max_gap_ns / SECOND_NS


@dataclass(frozen=True, slots=True)
class _Finding:
    """What one identifier, or the unit as a whole, gives: the worst one is the unit's."""

    verdict: Outcome
    state: PresenceState
    text: str


_WORST_FIRST = (PresenceState.MISSING, PresenceState.LOST, PresenceState.INTERMITTENT, PresenceState.LATE)


def watch_of(expected: Sequence[UnitExpectation]) -> Watch:
    """What a tally must keep so that these units can be judged from it. Units of one bus."""
    gaps: dict[IdKey, int] = {}
    group: dict[IdKey, str] = {}
    for unit in expected:
        for can_id, extended, period_s in unit.ids:
            key = IdKey(can_id, extended)
            group.setdefault(key, unit.unit)
            if period_s is not None:
                limit = _ns(max(INTERMITTENT_PERIODS * period_s, INTERMITTENT_LEAST_S))
                gaps[key] = min(limit, gaps.get(key, limit))
    return Watch(gaps, group)


def judge_presence(
    expected: Sequence[UnitExpectation],
    tally: BusTally | None,
    *,
    start_ns: int,
    end_ns: int,
    power_on_ns: int | None = None,
    dropped_frames: int = 0,
    also_known: Collection[tuple[int, bool]] = (),
) -> list[UnitPresence]:
    """One entry for each expected unit, in their order, then one for each identifier nobody is expected to send.

    tally        of the units' bus, made with `watch_of(expected)`; None where no frame of that bus came
    start_ns     since when it was listened; end_ns until when
    power_on_ns  when the units got power, where that is known
    also_known   identifiers that are described but have no sender among `expected`: not unexpected

    Raises ValueError for a tally that did not watch what must be judged.
    """
    if not expected:
        return []
    if tally is None or not tally.frames:
        why = "only error frames were" if tally is not None and tally.error_frames else "nothing at all was"
        text = f"can't tell: {why} heard on the bus"
        return [UnitPresence(e.unit, Outcome.UNSURE, PresenceState.UNKNOWN, None, None, None, text) for e in expected]
    if any(key not in tally.watch.group for e in expected for key in _keys(e)):
        raise ValueError("the tally does not watch all expected identifiers: make it with watch_of(expected)")
    bench = _Bench(tally, start_ns, end_ns, power_on_ns, dropped_frames)
    units = [bench.judge(unit) for unit in expected]
    known = {key for unit in expected for key in _keys(unit)} | {IdKey(*key) for key in also_known}
    return units + [_unexpected(key, tally.ids[key]) for key in sorted(tally.ids) if key not in known]


def _keys(unit: UnitExpectation) -> list[IdKey]:
    return [IdKey(can_id, extended) for can_id, extended, _ in unit.ids]


def _unexpected(key: IdKey, source: SourceTally) -> UnitPresence:
    times = "once" if source.count == 1 else f"{source.count} times"
    return UnitPresence(
        unit=key.text,
        verdict=Outcome.FAIL,
        state=PresenceState.UNEXPECTED,
        first_ns=source.first_ns,
        last_ns=source.last_ns,
        max_gap_ns=source.max_gap_ns,
        text=f"identifier {key.text} was heard {times}, and no unit of the profile sends it",
    )


class _Bench:
    """The circumstances that are the same for all units of a bus."""

    def __init__(self, tally: BusTally, start_ns: int, end_ns: int, power_on_ns: int | None, dropped: int) -> None:
        self.tally = tally
        self.start_ns = start_ns
        self.end_ns = end_ns
        self.power_on_ns = power_on_ns
        self.dropped = dropped
        self.silences = tally.silences()
        self.tail_ns = max(0, end_ns - tally.last_ns)

    def judge(self, unit: UnitExpectation) -> UnitPresence:
        heard = [self.tally.ids[key] for key in _keys(unit) if key in self.tally.ids]
        findings = [self._missing(unit), self._late(unit, heard), self._whole_bus(unit)]
        for can_id, extended, period_s in unit.ids:
            key = IdKey(can_id, extended)
            source = self.tally.ids.get(key)
            if source is None or period_s is None or source.count < 2:
                continue
            findings += [self._lost(key, source, period_s), self._intermittent(key, source, period_s)]
        told = [finding for finding in findings if finding is not None]
        told.sort(key=lambda finding: (finding.verdict is not Outcome.FAIL, _rank(finding.state)))
        worst = told[0] if told else _Finding(Outcome.PASS, PresenceState.PRESENT, _heard_text(heard))
        group = self.tally.groups.get(unit.unit)
        return UnitPresence(
            unit=unit.unit,
            verdict=worst.verdict,
            state=worst.state,
            first_ns=min((source.first_ns for source in heard), default=None),
            last_ns=max((source.last_ns for source in heard), default=None),
            max_gap_ns=None if group is None else group.max_gap_ns,
            text=worst.text,
        )

    def _absent(self, state: PresenceState, text: str) -> _Finding:
        """Something was not heard: a FAIL, unless the recorder dropped frames, which may have been just those."""
        if self.dropped:
            frames = "1 frame" if self.dropped == 1 else f"{self.dropped} frames"
            return _Finding(Outcome.UNSURE, state, f"{text}; but {frames} were dropped by the recorder")
        return _Finding(Outcome.FAIL, state, text)

    def _missing(self, unit: UnitExpectation) -> _Finding | None:
        silent = [
            (key, period) for key, (*_, period) in zip(_keys(unit), unit.ids, strict=True) if not self._heard(key)
        ]
        periodic = [(key, period) for key, period in silent if period is not None]
        anything = len(silent) < len(unit.ids)
        if not periodic:
            if anything or not unit.ids:
                return (
                    None if anything else _Finding(Outcome.UNSURE, PresenceState.UNKNOWN, "sends nothing that is known")
                )
            text = "not heard, but it sends only on occasion"
            return _Finding(Outcome.UNSURE, PresenceState.MISSING, text)
        # time to boot counts from power on where that is known, else from the start of listening
        ready_ns = (self.start_ns if self.power_on_ns is None else self.power_on_ns) + _ns(unit.boot_s)
        listened_ns = self.end_ns - max(ready_ns, self.start_ns) - self._silent_ns()
        due = [key for key, period in periodic if listened_ns >= _ns(MISSING_PERIODS * period)]
        if due:
            names = ", ".join(key.text for key in due)
            return self._absent(
                PresenceState.MISSING, f"heard, but never its {names}" if anything else f"never heard ({names})"
            )
        if anything:
            return None
        return _Finding(Outcome.UNSURE, PresenceState.MISSING, "not heard, but the time was too short to tell")

    def _heard(self, key: IdKey) -> bool:
        return key in self.tally.ids

    def _silent_ns(self) -> int:
        """How long the whole bus was silent, its end included."""
        quiet = sum(gap.length_ns for gap in self.silences)
        return quiet + (self.tail_ns if self.tail_ns >= self.tally.silence_threshold_ns() else 0)

    def _late(self, unit: UnitExpectation, heard: list[SourceTally]) -> _Finding | None:
        if self.power_on_ns is None or not heard:
            return None
        first = min(heard, key=lambda source: source.first_recorded_ns)
        if first.first_segment or first.first_ns < self.power_on_ns:
            return None  # the clock stepped before it was heard, or it had power already: can't tell
        # who begins to listen after the boot time hears a unit up to some periods after that, however early it spoke
        periods = [period for *_, period in unit.ids if period is not None]
        limit = self.power_on_ns + _ns(unit.boot_s)
        if self.start_ns > limit:
            if not periods:
                return None
            limit = self.start_ns + _ns(MISSING_PERIODS * min(periods))
        if first.first_ns <= limit + _ns(STAMP_SLACK_S):
            return None
        took = (first.first_ns - self.power_on_ns) / SECOND_NS
        return self._absent(
            PresenceState.LATE, f"first heard {took:.2f} s after power on, {unit.boot_s:g} s is allowed (profile)"
        )

    def _lost(self, key: IdKey, source: SourceTally, period_s: float) -> _Finding | None:
        limit = _ns(max(LOST_PERIODS * period_s, LOST_LEAST_S))
        since = self.tally.recorded_ns - source.last_recorded_ns
        with_bus = since - self._overlap(source.last_recorded_ns, since)
        if with_bus > limit:
            text = f"{key.text} not heard in the last {(since + self.tail_ns) / SECOND_NS:.2f} s while the bus went on"
            return self._absent(PresenceState.LOST, f"{text} (period {period_s:g} s)")
        if since + self.tail_ns > limit and self.tail_ns >= self.tally.silence_threshold_ns():
            text = f"heard, until the whole bus fell silent {self.tail_ns / SECOND_NS:.2f} s before the end"
            return _Finding(Outcome.UNSURE, PresenceState.PRESENT, text)
        return None

    def _intermittent(self, key: IdKey, source: SourceTally, period_s: float) -> _Finding | None:
        limit = _ns(max(INTERMITTENT_PERIODS * period_s, INTERMITTENT_LEAST_S))
        own = [gap for gap in source.gaps if gap.length_ns - self._overlap(gap.recorded_ns, gap.length_ns) > limit]
        if not own:
            return None
        longest = max(gap.length_ns for gap in own) / SECOND_NS
        count = "1 gap" if len(own) == 1 else f"{len(own)} gaps"
        text = f"{key.text} comes and goes: {count}, the longest {longest:.2f} s (period {period_s:g} s)"
        return self._absent(PresenceState.INTERMITTENT, text)

    def _whole_bus(self, unit: UnitExpectation) -> _Finding | None:
        """The only talker of a bus that paused: its gap and the silence of the bus are the same thing."""
        if not self.silences or any(key not in set(_keys(unit)) for key in self.tally.ids):
            return None
        for can_id, extended, period_s in unit.ids:
            source = self.tally.ids.get(IdKey(can_id, extended))
            if source is not None and period_s is not None and source.gaps:
                text = "heard, but it is the only one on the bus, and the whole bus paused: can't tell which it was"
                return _Finding(Outcome.UNSURE, PresenceState.PRESENT, text)
        return None

    def _overlap(self, recorded_ns: int, length_ns: int) -> int:
        """How much of a span of the recorded clock lies in silences of the whole bus."""
        end = recorded_ns + length_ns
        return sum(max(0, min(end, _end(gap)) - max(recorded_ns, gap.recorded_ns)) for gap in self.silences)


def _end(gap: Gap) -> int:
    return gap.recorded_ns + gap.length_ns


def _rank(state: PresenceState) -> int:
    return _WORST_FIRST.index(state) if state in _WORST_FIRST else len(_WORST_FIRST)


def _heard_text(heard: Sequence[SourceTally]) -> str:
    count = sum(source.count for source in heard)
    return "heard once" if count == 1 else f"heard, {count} frames"


def _ns(value_s: float) -> int:
    return round(value_s * SECOND_NS)
