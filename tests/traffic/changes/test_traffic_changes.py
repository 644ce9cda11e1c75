"""What two recordings are told to differ in, and what is only their scatter."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
from frame_rows import Row, batch_of

from benchcheck.traffic.changes.changes import Change, Comparison, Grade, Kind, Worth, compare
from benchcheck.traffic.changes.seen import BusSeen, Judged, LineSeen, Seen, spread_of
from benchcheck.traffic.changes.traits import BusTraits
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.verdict import Outcome

MS = 1_000_000
Data = Callable[[int], bytes]


def sent(
    can_id: int,
    period_ms: float,
    *,
    seconds: float = 10.0,
    jitter_ms: float = 0.5,
    seed: int = 1,
    data: Data = lambda k: bytes([k % 16, 7]),
    holes: Sequence[tuple[float, float]] = (),
) -> list[Row]:
    """Frames due at even times, each late by a random part of the jitter; none from and to the seconds in `holes`."""
    rng = np.random.default_rng(seed)
    due = np.arange(0, seconds * 1000, period_ms)
    at = due + rng.uniform(0, jitter_ms, len(due))
    chosen = [k for k in range(len(due)) if not any(start <= due[k] / 1000 < end for start, end in holes)]
    return [(int(at[k] * MS), 0, can_id, 0, data(k)) for k in chosen]


def seen(
    *messages: list[Row], seconds: float = 10.0, errors: int = 0, loads: Sequence[float] = (), **other: object
) -> Seen:
    traits = BusTraits()
    rows = sorted(row for rows in messages for row in rows)
    if rows:
        traits.update(batch_of(rows))
    bus = BusSeen(len(rows), errors, seconds, spread_of(loads), traits)
    return replace(Seen(seconds, False, {"can1": bus}, {}), **other)  # type: ignore[arg-type]


def with_bus(one: Seen, **fields: object) -> Seen:
    return replace(one, buses={"can1": replace(one.buses["can1"], **fields)})  # type: ignore[arg-type]


def told(found: Comparison) -> list[tuple[Kind, Grade, str]]:
    return [(change.kind, change.grade, change.what) for change in found.changes]


BUSY = sent(0x100, 10)  # so that the bus as a whole never pauses


def test_scatter_is_no_change() -> None:
    for seed in range(2, 12):
        found = compare(seen(BUSY, sent(0x200, 50, jitter_ms=8)), seen(BUSY, sent(0x200, 50, jitter_ms=8, seed=seed)))
        assert told(found) == []
        assert found.outcome is Outcome.PASS


def test_an_identifier_gone_and_a_new_one() -> None:
    found = compare(seen(BUSY, sent(0x200, 100)), seen(BUSY, sent(0x300, 100)))
    assert told(found) == [(Kind.GONE, Grade.GRAVE, "200"), (Kind.NEW, Grade.GRAVE, "300")]
    assert found.outcome is Outcome.FAIL
    assert "100 of it were due" in found.changes[0].text


def test_too_short_a_recording_proves_no_absence() -> None:
    short = seen(sent(0x100, 10, seconds=0.4), seconds=0.4)
    found = compare(seen(BUSY, sent(0x200, 100)), short)
    assert told(found) == [(Kind.GONE, Grade.UNSURE, "200")]
    assert told(compare(short, seen(BUSY, sent(0x200, 100)))) == [(Kind.NEW, Grade.UNSURE, "200")]
    assert found.outcome is Outcome.UNSURE


def test_with_frames_missing_an_absence_is_unsure() -> None:
    found = compare(seen(BUSY, sent(0x200, 100)), seen(BUSY, frames_missing=True))
    assert told(found) == [(Kind.GONE, Grade.UNSURE, "200")]


def test_one_frame_is_not_called_gone_for_sure() -> None:
    once: list[Row] = [(5000 * MS, 0, 0x200, 0, b"")]
    before = seen(BUSY, once)
    assert told(compare(before, seen(BUSY))) == [(Kind.GONE, Grade.UNSURE, "200")]
    before = with_bus(before, on_occasion=frozenset({IdKey(0x200, False)}))
    assert told(compare(before, seen(BUSY))) == [(Kind.GONE, Grade.LESSER, "200")]


def test_a_burst_is_no_period() -> None:
    """A message of several frames, sent once: not taken for a regular one that should have come thousands of times."""
    burst: list[Row] = [(5000 * MS + k * MS, 0, 0x200, 0, b"") for k in range(6)]
    assert told(compare(seen(BUSY), seen(BUSY, burst))) == [(Kind.NEW, Grade.UNSURE, "200")]


def test_many_bursts_that_stay_away_are_gone() -> None:
    bursts: list[Row] = [(n * 500 * MS + k * MS, 0, 0x200, 0, b"") for n in range(20) for k in range(6)]
    found = compare(seen(BUSY, bursts), seen(BUSY))
    assert told(found) == [(Kind.GONE, Grade.GRAVE, "200")]
    assert told(compare(seen(BUSY, bursts), seen(BUSY, bursts))) == []
    few = [row for row in bursts if row[0] < 2000 * MS]
    assert told(compare(seen(BUSY, bursts), seen(BUSY, few))) == []  # 20 and 4 in 10 s: within 4 standard errors
    many: list[Row] = [(n * 100 * MS + k * MS, 0, 0x200, 0, b"") for n in range(100) for k in range(6)]
    assert told(compare(seen(BUSY, bursts), seen(BUSY, many))) == [(Kind.RATE, Grade.LESSER, "200")]


@pytest.mark.parametrize(
    ("period_ms", "jitter_ms", "expected"),
    [
        (50.9, 0.5, []),  # 1.8 %: below the floor of 2 %
        (51.5, 0.5, [(Kind.PERIOD, Grade.GRAVE, "200")]),
        (100, 0.5, [(Kind.PERIOD, Grade.GRAVE, "200")]),
        (51.5, 40.0, [(Kind.JITTER, Grade.LESSER, "200")]),  # within its scatter, which is another one
        (50, 12, [(Kind.JITTER, Grade.LESSER, "200")]),  # 4.9 ms of deviation, 0.2 before
        (50, 3, []),  # 1.2 ms: below the floor of 5 % of the period
    ],
)
def test_period_and_jitter(period_ms: float, jitter_ms: float, expected: list[object]) -> None:
    before, after = seen(BUSY, sent(0x200, 50)), seen(BUSY, sent(0x200, period_ms, jitter_ms=jitter_ms, seed=3))
    assert told(compare(before, after)) == expected


def test_less_jitter_is_better() -> None:
    found = compare(seen(BUSY, sent(0x200, 50, jitter_ms=20)), seen(BUSY, sent(0x200, 50)))
    assert told(found) == [(Kind.JITTER, Grade.BETTER, "200")]
    assert found.outcome is Outcome.PASS


def test_gaps_are_gaps_and_no_longer_period() -> None:
    before, after = seen(BUSY, sent(0x200, 50)), seen(BUSY, sent(0x200, 50, holes=[(2, 3), (5, 5.5)]))
    (change,) = compare(before, after).changes
    assert (change.kind, change.grade, change.was, change.is_now) == (Kind.GAPS, Grade.GRAVE, 0, 2)
    assert "the longest 1.0" in change.text
    assert told(compare(after, before)) == []  # two in 10 s are too few to say that it is better
    missing = replace(after, frames_missing=True)
    assert told(compare(before, missing)) == [(Kind.GAPS, Grade.UNSURE, "200")]


def test_a_pause_of_the_whole_bus_is_nobodys_gap() -> None:
    hole = [(2.0, 4.0)]
    after = seen(sent(0x100, 10, holes=hole), sent(0x200, 50, holes=hole), seconds=8.0)
    assert told(compare(seen(BUSY, sent(0x200, 50)), after)) == []


def test_the_first_recording_may_have_been_too_short_for_a_gap() -> None:
    long = seen(sent(0x100, 10, seconds=100), sent(0x200, 50, seconds=100, holes=[(20, 21)]), seconds=100.0)
    assert told(compare(seen(BUSY, sent(0x200, 50)), long)) == [(Kind.GAPS, Grade.UNSURE, "200")]


def test_data_out_of_range_constant_and_still() -> None:
    before = seen(BUSY, sent(0x200, 50, data=lambda k: bytes([0x10 + k % 16, 7])))

    def after(data: Data) -> list[tuple[Kind, Grade, str]]:
        return told(compare(before, seen(BUSY, sent(0x200, 50, data=data))))

    assert after(lambda k: bytes([0x10 + k % 19, 7])) == []  # a little further is no news
    assert after(lambda k: bytes([0x10 + k % 40, 7])) == [(Kind.VALUES, Grade.LESSER, "200")]
    assert after(lambda k: bytes([0x10 + k % 16, 8 if k == 50 else 7])) == [(Kind.VALUES, Grade.LESSER, "200")]
    assert after(lambda k: bytes([0x14, 7])) == [(Kind.STILL, Grade.LESSER, "200")]
    assert after(lambda k: bytes([0x10 + k % 16, 7, 0])) == [(Kind.LENGTH, Grade.LESSER, "200")]


def test_a_bit_that_never_changed_before() -> None:
    before = seen(BUSY, sent(0x200, 50, data=lambda k: bytes([(0x00, 0x05)[k % 2]])))
    found = compare(before, seen(BUSY, sent(0x200, 50, data=lambda k: bytes([(0x00, 0x05, 0x02)[k % 3]]))))
    assert told(found) == [(Kind.VALUES, Grade.LESSER, "200")]
    assert "byte 0 changes bits 02" in found.changes[0].text


def test_a_counter_has_no_range_yet() -> None:
    def counting(start: int) -> Seen:
        return seen(BUSY, sent(0x200, 50, data=lambda k: (start + k).to_bytes(2, "big")))

    assert told(compare(counting(0), counting(40))) == []


def test_few_frames_are_no_range() -> None:
    before = seen(BUSY, sent(0x200, 1000, data=lambda k: bytes([k % 2])))
    assert told(compare(before, seen(BUSY, sent(0x200, 1000, data=lambda k: bytes([99]))))) == []


@pytest.mark.parametrize(
    ("was", "now", "expected"),
    [
        (0, 0, []),
        (0, 1, [Grade.UNSURE]),
        (0, 4, [Grade.GRAVE]),
        (10, 14, []),
        (10, 100, [Grade.GRAVE]),
        (100, 10, [Grade.BETTER]),
    ],
)
def test_error_frames(was: int, now: int, expected: list[Grade]) -> None:
    found = compare(seen(BUSY, errors=was), seen(BUSY, errors=now))
    assert [(change.kind, change.grade) for change in found.changes] == [(Kind.ERRORS, grade) for grade in expected]


def test_load_beyond_its_scatter_and_its_limit() -> None:
    before = seen(BUSY, loads=[30, 31, 30, 31, 30, 31])
    assert told(compare(before, seen(BUSY, loads=[31, 30, 31, 30, 31, 31]))) == []
    assert told(compare(before, seen(BUSY, loads=[33, 34, 33, 34, 33, 34]))) == [(Kind.LOAD, Grade.LESSER, "can1")]
    over = with_bus(seen(BUSY, loads=[53, 54, 53, 54, 53, 54]), max_load_percent=50.0)
    assert told(compare(before, over)) == [(Kind.LOAD, Grade.GRAVE, "can1")]
    assert told(compare(before, seen(BUSY, loads=[90, 91]))) == []  # too few seconds


def judged(**states: str) -> dict[tuple[str, str], Judged]:
    verdicts = {"present": Outcome.PASS, "": Outcome.UNSURE}
    return {("can1", unit): Judged(verdicts.get(state, Outcome.FAIL), state, "words") for unit, state in states.items()}


def test_units_stand_for_their_identifiers() -> None:
    sender = {IdKey(0x200, False): "NAV", IdKey(0x100, False): "LOG"}
    before = with_bus(seen(BUSY, sent(0x200, 50), units=judged(NAV="present", LOG="present")), sender_of=sender)
    after = with_bus(seen(BUSY, units=judged(NAV="missing", LOG="")), sender_of=sender)
    assert told(compare(before, after)) == [(Kind.UNIT, Grade.GRAVE, "NAV"), (Kind.UNIT, Grade.UNSURE, "LOG")]
    assert told(compare(after, before)) == [(Kind.UNIT, Grade.BETTER, "LOG"), (Kind.UNIT, Grade.BETTER, "NAV")]
    assert told(compare(after, after)) == []


def line(understood: int, others: int = 0, types: Mapping[str, int] | None = None) -> dict[str, LineSeen]:
    return {"tap": LineSeen(40 * (understood + others), understood, others, types or {"GPGGA": understood})}


def lines(was: dict[str, LineSeen], now: dict[str, LineSeen], seconds: float = 10.0) -> list[tuple[Kind, Grade]]:
    found = compare(Seen(seconds, False, {}, was), Seen(seconds, False, {}, now))
    return [(change.kind, change.grade) for change in found.changes]


def test_lines() -> None:
    silent = {"tap": LineSeen(0, 0, 0, {})}
    assert lines(line(20), line(21)) == []
    assert lines(line(20), silent) == [(Kind.LINE, Grade.GRAVE)]
    assert lines(line(3), silent) == [(Kind.LINE, Grade.UNSURE)]
    assert lines(line(3), {"tap": LineSeen(96, 0, 1, {})}) == [(Kind.LINE, Grade.GRAVE)]
    assert lines(silent, line(20)) == [(Kind.LINE, Grade.BETTER)]
    assert lines(line(20), {}) == [(Kind.LINE, Grade.UNSURE)]
    assert lines(line(100), line(100, 30)) == [(Kind.LINE, Grade.LESSER)]
    assert lines(line(100), line(100, 300)) == [(Kind.LINE, Grade.GRAVE)]
    both = line(40, types={"GPGGA": 20, "GPZDA": 20})
    assert lines(both, line(20)) == [(Kind.TYPE, Grade.GRAVE)]
    assert lines(line(20), both) == [(Kind.TYPE, Grade.LESSER)]
    assert lines(line(100), line(20)) == [(Kind.RATE, Grade.LESSER)]
    assert lines(both, line(40), seconds=0.0) == [(Kind.TYPE, Grade.GRAVE)]  # raw bytes: by share, no rates


def test_nothing_in_common_is_unsure() -> None:
    empty = Seen(0.0, False, {}, {})
    assert compare(empty, empty).worth is Worth.NOTHING
    assert compare(empty, empty).outcome is Outcome.UNSURE
    few = seen(sent(0x100, 10, seconds=0.03), seconds=0.03)
    assert (compare(few, few).worth, compare(few, few).outcome) == (Worth.TOO_SHORT, Outcome.UNSURE)
    other = {"can2": seen(BUSY).buses["can1"], "can3": seen(BUSY).buses["can1"]}
    found = compare(seen(BUSY), Seen(10.0, False, other, {}))
    assert {change.kind for change in found.changes} == {Kind.BUS}
    assert found.outcome is Outcome.UNSURE


def test_the_order_is_grade_then_kind_then_size() -> None:
    before = seen(BUSY, sent(0x200, 50), sent(0x201, 50), sent(0x202, 50), sent(0x203, 50))
    after = seen(
        sent(0x100, 20), sent(0x201, 50, jitter_ms=20), sent(0x202, 60), sent(0x203, 50, data=lambda k: b"\xff")
    )
    found = compare(before, after)
    assert [(change.kind, change.what) for change in found.changes if change.grade is Grade.GRAVE] == [
        (Kind.GONE, "200"),
        (Kind.PERIOD, "100"),  # twice as long
        (Kind.PERIOD, "202"),  # a fifth longer
    ]
    assert list(found.changes) == sorted(found.changes, key=Change.order)
