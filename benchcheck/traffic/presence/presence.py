"""Who is there: each unit's verdict from what was heard of the identifiers it is expected to send.

Pure: fed a tally, live or read back, and times in nanoseconds of the same clock as the stamps.

Rules (times are common practice, no source, unless the profile gives them):

silences       what lies in a silence of the whole bus or in a gap of the recorder, or is made by a step of the
               recorder's clock, is nobody's gap. What a gap of the recorder excuses is said with its length and reason:
               a pause within a time in which nothing was recorded is left out of the verdict; UNSURE where frames were
               dropped meanwhile, and where a unit may be missing, late or lost for that reason alone
present        PASS    heard, and none of the states below
missing        FAIL    a periodic identifier not heard once, after time enough to boot and for 2.5 periods
               UNSURE  nothing heard of a unit that sends only on occasion, or not time enough yet
late           FAIL    power-on is known, and the first frame came later than `boot_s` (0.05 s of slack for stamps)
lost           FAIL    last heard longer ago than 5 periods and 1 s before the end, while the bus went on
intermittent   FAIL    at least one gap that ended, longer than 3.5 periods and 0.25 s
unexpected     FAIL    an identifier that no expected unit sends, one entry each: the harness has a sender, or a unit
                       a setting, that the profile does not know; or an identifier that two senders send
               UNSURE  an identifier that comes twice as often as it should, and can't be told to have one sender or two
can't tell     UNSURE  nothing at all was heard on the bus (the state is empty); the whole bus was silent to the end;
                       the only talker of a bus paused, which can't be told from a silence of the bus

An identifier without a period (sent once, or in bursts), or heard only once, is never intermittent and never lost.
Frames that the recorder dropped may be the ones that are not there: where it is not known when, no absence is a FAIL,
but UNSURE.
How two senders are told from a fast one: see senders.py.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from benchcheck.traffic.presence.unit_judge import (
    INTERMITTENT_LEAST_S,
    INTERMITTENT_PERIODS,
    LOST_LEAST_S,
    LOST_PERIODS,
    MISSING_PERIODS,
    STAMP_SLACK_S,
    UnitJudge,
)
from benchcheck.traffic.presence.unit_presence import (
    MatchExpectation,
    Pause,
    PresenceState,
    UnitExpectation,
    UnitPresence,
)
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.pieces import SECOND_NS
from benchcheck.traffic.tallies.source_tally import SourceTally
from benchcheck.traffic.tallies.watch import IdKey, MatchWatch, Watch
from benchcheck.words.recorder_gap import RecorderGap
from benchcheck.words.verdict import Outcome

__all__ = [
    "INTERMITTENT_LEAST_S",
    "INTERMITTENT_PERIODS",
    "LOST_LEAST_S",
    "LOST_PERIODS",
    "MISSING_PERIODS",
    "STAMP_SLACK_S",
    "MatchExpectation",
    "Pause",
    "PresenceState",
    "UnitExpectation",
    "UnitPresence",
    "judge_presence",
    "watch_of",
]


def watch_of(expected: Sequence[UnitExpectation]) -> Watch:
    """What a tally must keep so that these units can be judged from it. Units of one bus."""
    gaps: dict[IdKey, int] = {}
    group: dict[IdKey, str] = {}
    matches: list[MatchWatch] = []
    for unit in expected:
        for can_id, extended, period_s in unit.ids:
            key = IdKey(can_id, extended)
            group.setdefault(key, unit.unit)
            if period_s is not None:
                limit = _gap_ns(period_s)
                gaps[key] = min(limit, gaps.get(key, limit))
        matches += [
            MatchWatch(entry.match, unit.unit, None if entry.period_s is None else _gap_ns(entry.period_s))
            for entry in unit.matches
        ]
    return Watch(gaps, group, tuple(matches))


def judge_presence(
    expected: Sequence[UnitExpectation],
    tally: BusTally | None,
    *,
    start_ns: int,
    end_ns: int,
    power_on_ns: int | None = None,
    dropped_frames: int = 0,
    also_known: Collection[tuple[int, bool]] = (),
    recorder_gaps: Sequence[RecorderGap] = (),
) -> list[UnitPresence]:
    """One entry for each expected unit, in their order, then one for each identifier nobody is expected to send, then
    one for each identifier that has, or may have, a second sender.

    tally          of the units' bus, made with `watch_of(expected)`; None where no frame of that bus came
    start_ns       since when it was listened; end_ns until when
    power_on_ns    when the units got power, where that is known
    also_known     identifiers that are described but have no sender among `expected`: not unexpected
    dropped_frames how many frames the recorder dropped, nobody knows when
    recorder_gaps  when the recorder is known not to have recorded everything of this bus

    Raises ValueError for a tally that did not watch what must be judged.
    """
    if not expected:
        return []
    if tally is None or not tally.frames:
        why = "only error frames were" if tally is not None and tally.error_frames else "nothing at all was"
        text = f"can't tell: {why} heard on the bus"
        return [UnitPresence(e.unit, Outcome.UNSURE, PresenceState.UNKNOWN, None, None, None, text) for e in expected]
    watched = {(entry.unit, entry.match) for entry in tally.watch.matches}
    if any(key not in tally.watch.group for e in expected for key in _keys(e)) or any(
        (e.unit, entry.match) not in watched for e in expected for entry in e.matches
    ):
        raise ValueError("the tally does not watch all expected identifiers: make it with watch_of(expected)")
    judge = UnitJudge(tally, start_ns, end_ns, power_on_ns, dropped_frames, recorder_gaps)
    units = [judge.judge(unit) for unit in expected]
    known = {key for unit in expected for key in _keys(unit)} | {IdKey(*key) for key in also_known}
    masks = [entry.match for unit in expected for entry in unit.matches]
    ids = tally.ids
    strangers = [key for key in sorted(ids) if key not in known and not any(match.takes(key) for match in masks)]
    return [
        *units,
        *(_unexpected(key, ids[key]) for key in strangers),
        *(entry for unit in expected for entry in judge.senders(unit)),
    ]


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


def _gap_ns(period_s: float) -> int:
    return round(max(INTERMITTENT_PERIODS * period_s, INTERMITTENT_LEAST_S) * SECOND_NS)
