"""Values of signals in two recordings: by name and unit, in place of the bytes that hold them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from frame_rows import Row, batch_of

from benchcheck.traffic.changes.changes import Grade, Kind, compare
from benchcheck.traffic.changes.seen import BusSeen, Judged, Seen, spread_of
from benchcheck.traffic.changes.signal_changes import signal_seen
from benchcheck.traffic.changes.traits import BusTraits
from benchcheck.traffic.signals.signal_tallies import SignalTallies
from benchcheck.traffic.tallies.watch import IdKey, SignalWatch
from benchcheck.words.signal import Field, Signal
from benchcheck.words.verdict import Outcome

MS = 1_000_000
KEY = IdKey(0x130, False)
TEMPERATURE = Signal("WaterTemperature", Field(0, 16, signed=True), 0.5, -10.0, "degC")
DOOR = Signal("DoorOpen", Field(16, 1))
NAMES = {TEMPERATURE: "WATER.WaterTemperature", DOOR: "WATER.DoorOpen"}


def seen(raw: Callable[[int], int], door: Callable[[int], int] = lambda k: k // 25 % 2, rest: int = 7) -> Seen:
    """Ten seconds of one message every 50 ms: a temperature, a bit, and a byte of which the database says nothing."""
    rows: list[Row] = [
        (k * 50 * MS, 0, 0x130, 0, (raw(k) & 0xFFFF).to_bytes(2, "little") + bytes([door(k), rest])) for k in range(200)
    ]
    traits, batch = BusTraits(), batch_of(rows)
    traits.update(batch)
    tallies = SignalTallies([SignalWatch(KEY, signal, 1000 * MS) for signal in NAMES])
    tallies.update(batch)
    found = [signal_seen(name, tallies.of(KEY, signal)) for signal, name in NAMES.items()]
    signals = {KEY: tuple(one for one in found if one is not None)}
    bus = BusSeen(len(rows), 0, 10.0, spread_of(()), traits, sender_of={KEY: "SVP"}, signals=signals)
    return Seen(10.0, False, {"can1": bus}, {})


BEFORE = seen(lambda k: 40 + k % 8)  # 10 to 13.5 degC


def test_the_same_values_are_no_change() -> None:
    assert compare(BEFORE, seen(lambda k: 40 + (3 * k + 1) % 8)).changes == ()
    # beyond the range by no more than a quarter of its width
    assert compare(BEFORE, seen(lambda k: 40 + k % 9)).changes == ()


def test_a_value_out_of_its_range_is_told_in_its_unit() -> None:
    (change,) = compare(BEFORE, seen(lambda k: 40 + k % 8 if k != 77 else 140)).changes
    assert (change.kind, change.grade, change.what, change.where) == (
        Kind.VALUES,
        Grade.LESSER,
        "WATER.WaterTemperature",
        "can1",
    )
    assert change.text == "WATER.WaterTemperature of 130 (SVP) is 10 to 60 degC now, before 10 to 13.5 degC"
    assert isinstance(change.is_now, dict)
    assert (change.is_now["low"], change.is_now["high"], change.is_now["unit"]) == (10.0, 60.0, "degC")


def test_below_and_constant() -> None:
    (below,) = compare(BEFORE, seen(lambda k: 40 + k % 8 - (k == 60) * 90)).changes
    assert "is -33 to 13.5 degC now" in below.text
    constant = seen(lambda k: 40)
    assert [change.what for change in compare(constant, seen(lambda k: 41 if k == 9 else 40)).changes] == [
        "WATER.WaterTemperature"
    ]


def test_a_counter_or_a_slow_value_has_no_range_yet() -> None:
    assert compare(seen(lambda k: k), seen(lambda k: 200 + k)).changes == ()


def test_a_signal_that_stands_still_is_told_where_changes_were_due() -> None:
    (change,) = compare(BEFORE, seen(lambda k: 44)).changes
    assert (change.kind, change.what) == (Kind.STILL, "WATER.WaterTemperature")
    assert "stands still at 12 degC now, in 200 frames; it changed 199 times before" in change.text
    # the door was opened twice and shut twice in ten seconds: four changes due are too few to tell
    seldom = seen(lambda k: 40 + k % 8, door=lambda k: k // 40 % 2)
    assert compare(seldom, seen(lambda k: 40 + k % 8, door=lambda k: 0)).changes == ()
    often = seen(lambda k: 40 + k % 8, door=lambda k: k // 8 % 2)
    assert [c.what for c in compare(often, seen(lambda k: 40 + k % 8, door=lambda k: 0)).changes] == ["WATER.DoorOpen"]


def test_a_message_that_stands_still_as_a_whole_is_told_once() -> None:
    (change,) = compare(BEFORE, seen(lambda k: 44, door=lambda k: 0)).changes
    assert (change.kind, change.what) == (Kind.STILL, "130")


def test_bytes_without_a_signal_are_told_as_bytes() -> None:
    (change,) = compare(BEFORE, seen(lambda k: 40 + k % 8, rest=9)).changes
    assert (change.kind, change.what) == (Kind.VALUES, "130")
    assert "byte 3 09, before 07" in change.text


def test_without_a_database_it_is_the_bytes() -> None:
    now = seen(lambda k: 40 + k % 8 if k != 77 else 140)

    def bare(one: Seen) -> Seen:
        return replace(one, buses={"can1": replace(one.buses["can1"], signals={})})

    (change,) = compare(bare(BEFORE), bare(now)).changes
    assert (change.what, "byte 0 28 to 8C, before 28 to 2F" in change.text) == ("130", True)


def test_a_signal_that_leaves_the_profiles_limits_is_grave_and_told_once() -> None:
    now = seen(lambda k: 40 + k % 8 if k != 77 else 140)
    name = ("can1", "WATER.WaterTemperature")
    good = replace(BEFORE, signals={name: Judged(Outcome.PASS, "in_range", "it was 10 to 13.5 degC")})
    bad = replace(now, signals={name: Judged(Outcome.FAIL, "absurd", "it was 60 degC at 3.850 s")})
    found = compare(good, bad)
    assert [(c.kind, c.grade, c.what) for c in found.changes] == [(Kind.SIGNAL, Grade.GRAVE, name[1])]
    assert "was in_range, now absurd: it was 60 degC" in found.changes[0].text
    assert found.outcome is Outcome.FAIL
    assert [(c.kind, c.grade) for c in compare(bad, good).changes] == [(Kind.SIGNAL, Grade.BETTER)]


def test_what_is_no_number_has_no_range() -> None:
    signal = Signal("Rate", Field(0, 32, is_float=True))
    rows: list[Row] = [(k * MS, 0, 0x130, 0, np.float32(np.nan if k == 3 else k).tobytes()) for k in range(9)]
    tallies = SignalTallies([SignalWatch(KEY, signal, 1000 * MS)])
    tallies.update(batch_of(rows))
    assert signal_seen("A.Rate", tallies.of(KEY, signal)) is None
