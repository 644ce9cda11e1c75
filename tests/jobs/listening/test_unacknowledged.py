"""What a bench that listens silently can't tell: a unit alone on a bus has nobody to acknowledge it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from frame_rows import Row, batch_of
from sample_profile import sample

from benchcheck.bench.can.can_interface import PassiveState
from benchcheck.jobs.listening.heard import UNPROVED, AdapterSaid, Listened, bus_reading
from benchcheck.traffic.presence.expectations import expectations
from benchcheck.traffic.presence.presence import watch_of
from benchcheck.traffic.tallies.traffic_tally import TrafficTally

S = 1_000_000_000
START = 1_700_000_000 * S
SAID = AdapterSaid("model", "listening", "in words", True, silence=UNPROVED)


def units(rows: list[Row], *, acknowledge: bool = False, silence: str = UNPROVED) -> dict[str, dict[str, str]]:
    harness = sample()
    expected = expectations(harness, harness.buses[0])
    tally = TrafficTally(watch={0: watch_of(expected)})
    tally.update(batch_of(rows))
    listened = Listened(START, START + 10 * S, None, acknowledge)
    detail = bus_reading(harness, 0, tally, expected, replace(SAID, silence=silence), listened).detail
    return detail["units"]  # type: ignore[return-value]


def of_one_unit() -> list[Row]:
    harness = sample()
    unit = expectations(harness, harness.buses[0])[0]
    return sorted(
        (START + k * round((period_s or 1.0) * S), 0, can_id, int(extended), bytes(8))
        for can_id, extended, period_s in unit.ids
        for k in range(int(10 / (period_s or 1.0)))
    )


def test_a_silent_bench_that_hears_nothing_says_that_nobody_acknowledges() -> None:
    for unit in units([]).values():
        assert unit["verdict"] == "UNSURE"
        assert "nobody to acknowledge" in unit["text"]
        assert "--acknowledge" in unit["text"]
    assert all("acknowledge" not in unit["text"] for unit in units([], acknowledge=True).values())


@pytest.mark.parametrize(
    ("silence", "acknowledge", "verdict"),
    [
        (UNPROVED, False, "UNSURE"),
        (str(PassiveState.PROVED), False, "PASS"),
        (str(PassiveState.BY_THE_ADAPTERS_WORD), False, "PASS"),
        (UNPROVED, True, "PASS"),
    ],
)
def test_one_unit_alone_is_heard_for_certain_only_where_this_bench_was_silent(
    silence: str, acknowledge: bool, verdict: str
) -> None:
    found = units(of_one_unit(), silence=silence, acknowledge=acknowledge)
    first = next(iter(found.values()))
    assert first["verdict"] == verdict
    assert ("may be this bench" in first["text"]) == (verdict == "UNSURE")


def test_the_word_is_that_of_the_table_of_adapters() -> None:
    assert str(PassiveState.UNPROVED) == UNPROVED
