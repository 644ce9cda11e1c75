"""Tallies: cut and merge, clock steps, silences, against plain loops."""

from __future__ import annotations

import json
from statistics import median

import pytest
from frame_rows import Row, batch_of, cut
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.summary import bus_json, duration_json, load_by_second, load_percent, steps_json
from benchcheck.traffic.tallies.bus_tally import STEP_FORWARD_NS, BusTally, IdKey, Watch
from benchcheck.traffic.tallies.quiet_tally import SILENCE_NS
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.words.frames import FrameFlag

MS = 1_000_000
S = 1_000_000_000
START = 1_700_000_000 * S
KEY = IdKey(0x100, False)

INTERVALS = st.one_of(
    st.integers(0, 40 * MS),
    st.integers(100 * MS, 900 * MS),
    st.sampled_from([30 * MS, 30 * MS + 1, SILENCE_NS - 1, SILENCE_NS, SILENCE_NS + 1, -1, -5 * S, -400 * S]),
    st.sampled_from([STEP_FORWARD_NS, STEP_FORWARD_NS + 1, 10 * 365 * 86400 * S]),
)


@st.composite
def recordings(draw: st.DrawFn) -> list[Row]:
    rows: list[Row] = []
    time_ns = START
    for interval in draw(st.lists(INTERVALS, min_size=1, max_size=40)):
        flags = draw(st.sampled_from([0, 0, 0, 1, FrameFlag.ERROR.value]))
        rows.append(
            (time_ns, draw(st.integers(0, 1)), draw(st.sampled_from([0x100, 0x101, 0x102])), flags, b"\x01\x02")
        )
        time_ns += interval
    return rows


def whole(tally: TrafficTally) -> str:
    """Everything a tally can say, as text."""
    names = {number: f"can{number}" for number in tally.buses}
    said: dict[str, object] = {**duration_json(tally), "steps": steps_json(tally, names)}
    for number, name in names.items():
        bus = tally.buses[number]
        said[name] = bus_json(tally, number, name, 250_000, None)
        said[f"{name} groups"] = {unit: repr(bus.groups[unit]) for unit in sorted(bus.groups)}
        said[f"{name} gaps"] = {key.text: repr(source) for key, source in sorted(bus.ids.items())}
        said[f"{name} windows"] = sorted(bus.windows.items())
    return json.dumps(said, sort_keys=True)


WATCH = {
    number: Watch({KEY: 50 * MS, IdKey(0x101, True): 10 * MS}, {KEY: "NAV", IdKey(0x101, False): "NAV"})
    for number in (0, 1)
}


@settings(max_examples=80, deadline=None)
@given(recordings(), st.data())
def test_any_cut_and_any_tree_of_merges_says_the_same(rows: list[Row], data: st.DataObject) -> None:
    batch = batch_of(rows)
    at_once = TrafficTally(watch=WATCH)
    at_once.update(batch)

    places = sorted(data.draw(st.lists(st.integers(0, len(rows)), max_size=6)))
    edges = list(zip([0, *places], [*places, len(rows)], strict=True))
    piecewise = TrafficTally(watch=WATCH)
    parts = []
    for start, end in edges:
        piecewise.update(cut(batch, start, end))
        part = TrafficTally(START, WATCH)
        part.update(cut(batch, start, end))
        parts.append(part)
    assert whole(piecewise) == whole(at_once)
    while len(parts) > 1:
        left = data.draw(st.integers(0, len(parts) - 2))
        parts[left].merge(parts.pop(left + 1))
    assert whole(parts[0]) == whole(at_once)


@settings(max_examples=80, deadline=None)
@given(recordings())
def test_a_plain_loop_counts_the_same(rows: list[Row]) -> None:
    tally = TrafficTally()
    tally.update(batch_of(rows))
    for number, bus in tally.buses.items():
        mine = [row for row in rows if row[1] == number]
        sound, quiet, steps, last_of, longest = [], [], [], {}, {}
        previous = None
        for index, row in enumerate(mine):
            if previous is not None:
                length = row[0] - previous
                if length < 0 or length > STEP_FORWARD_NS:
                    steps.append((previous, length))
                    last_of = {}  # an interval that crosses a step is no interval
                else:
                    sound.append(length)
                    quiet.append((previous, length))
            if not row[3] & FrameFlag.ERROR:
                key = IdKey(row[2], bool(row[3] & 1))
                if key in last_of:
                    gap = row[0] - last_of[key]
                    if key not in longest or gap > longest[key][0]:
                        longest[key] = (gap, last_of[key])
                last_of[key] = row[0]
            previous = row[0]
            assert index < bus.records
        assert [tuple(step) for step in bus.clock_steps] == steps
        least = max(SILENCE_NS, 10 * median(sound)) if sound else SILENCE_NS
        assert [(gap.start_ns, gap.length_ns) for gap in bus.silences()] == [q for q in quiet if q[1] >= least]
        found = {key: (s.max_gap_ns, s.max_gap_at_ns) for key, s in bus.ids.items() if s.max_gap_ns is not None}
        assert found == longest
        assert bus.recorded_ns == sum(sound)


def test_a_slow_bus_has_no_silences_of_its_own_period() -> None:
    # one frame every 0.5 s: 0.5 s is no silence, by the ten medians of the rule; 5 s is
    times = [START + k * S // 2 for k in range(20)] + [START + 15 * S]
    tally = TrafficTally()
    tally.update(batch_of([(time_ns, 0, 0x100, 0, b"") for time_ns in times]))
    assert [(gap.start_ns - START, gap.length_ns) for gap in tally.buses[0].silences()] == [
        (int(9.5 * S), int(5.5 * S))
    ]
    assert tally.buses[0].silence_threshold_ns() == 5 * S


def test_a_clock_step_is_no_gap_and_costs_no_windows() -> None:
    rows: list[Row] = [(START + k * 10 * MS, 0, 0x100, 0, bytes(8)) for k in range(300)]
    years = 20 * 365 * 86400 * S
    rows += [(row[0] + 3 * S + years, *row[1:]) for row in rows]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = bus_json(tally, 0, "can0", 250_000, None)
    assert bus["clock_steps"] == [{"at_s": 2.99, "step_s": years / S + 0.01}]
    assert bus["gaps"] == []
    (entry,) = bus["ids"]  # type: ignore[misc]
    assert entry["max_gap_s"] == 0.01
    # 599 intervals, of which one is not known: the mean is that of the others, which all are 10 ms
    assert entry["mean_period_s"] == 0.01
    assert duration_json(tally) == {"duration_s": years / S + 5.99, "recorded_s": 5.98}
    assert len(tally.buses[0].windows) <= 8
    per_second = 100 * tally.buses[0].wire_bits / 600 * 100 / 250_000
    assert bus["load_mean_recorded_percent"] == pytest.approx(per_second * 6 / 5.98, rel=1e-4)
    assert bus["load_mean_percent"] == pytest.approx(0, abs=1e-4)


def test_a_clock_set_back_leaves_the_load_unknown_by_the_letter_and_known_as_recorded() -> None:
    rows: list[Row] = [(START + 100 * S + k * 10 * MS, 0, 0x100, 0, bytes(8)) for k in range(300)]
    rows += [(row[0] - 100 * S, *row[1:]) for row in rows]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = bus_json(tally, 0, "can0", 250_000, None)
    assert duration_json(tally) == {"duration_s": None, "recorded_s": 5.98}
    assert bus["load_mean_percent"] is None
    assert bus["load_mean_recorded_percent"] > 0  # type: ignore[operator]
    assert bus["clock_steps"] == [{"at_s": 2.99, "step_s": -102.99}]


def test_only_whole_windows_count() -> None:
    # 1.5 s: the second window has more frames but is not whole
    rows: list[Row] = [(START + k * 100 * MS, 0, 0x100, 0, b"") for k in range(10)]
    rows += [(START + S + k * 10 * MS, 0, 0x100, 0, b"") for k in range(50)]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = bus_json(tally, 0, "can0", 10_000, None)
    one = tally.buses[0].wire_bits / 60
    assert bus["load_peak_percent"] == pytest.approx(100 * 10 * one / 10_000)
    assert bus["peak_at_s"] == 0.0
    assert bus["peak_window_s"] == 1.0


def test_the_seconds_of_a_clock_that_was_set_are_listed_up_to_a_limit() -> None:
    years = 20 * 365 * 86400 * S
    rows: list[Row] = [(START + k * S // 4, 0, 0x100, 0, bytes(8)) for k in range(12)]
    rows += [(row[0] + years, *row[1:]) for row in rows]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    loads = load_by_second(tally, 0, 250_000, most=1000)
    bits = tally.buses[0].wire_bits
    assert loads == [round(100 * bits / 6 / 250_000, 3)] * 3 + [0.0] * 997


def test_a_mean_period_is_one_of_known_intervals_and_none_without_them() -> None:
    # 1 s apart, the clock set back once among few frames; and one that came once on either side of the step
    rows: list[Row] = [(START + k * S, 0, 0x100, 0, b"") for k in range(4)]
    rows.insert(2, (START + S + S // 2, 0, 0x200, 0, b""))
    rows += [(row[0] - 60 * S, *row[1:]) for row in rows]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    ids = {entry["id"]: entry for entry in bus_json(tally, 0, "can0", 250_000, None)["ids"]}  # type: ignore[attr-defined]
    slow, seldom = ids["100"], ids["200"]
    assert slow["mean_period_s"] == slow["min_gap_s"] == slow["max_gap_s"] == 1.0
    assert seldom["mean_period_s"] is seldom["max_gap_s"] is seldom["deviation_s"] is None


def test_less_than_a_second_has_no_peak() -> None:
    tally = TrafficTally()
    tally.update(batch_of([(START, 0, 0x100, 0, b""), (START + 999 * MS, 0, 0x100, 0, b"")]))
    bus = bus_json(tally, 0, "can0", 250_000, None)
    assert bus["load_peak_percent"] is None
    assert bus["load_mean_percent"] is not None


def test_a_single_frame_has_no_load_and_no_period() -> None:
    tally = TrafficTally()
    tally.update(batch_of([(START, 0, 0x18FEF100, 1, b"\xff" * 8)]))
    bus = bus_json(tally, 0, "can0", 250_000, None)
    assert bus["load_mean_percent"] is None
    (entry,) = bus["ids"]  # type: ignore[misc]
    assert entry["id"] == "18FEF100"
    assert entry["mean_period_s"] is entry["max_gap_s"] is entry["max_gap_at_s"] is None


def test_base_and_extended_identifiers_are_kept_apart_and_buses_too() -> None:
    rows: list[Row] = [(START, 1, 0x100, 0, b""), (START + 1, 1, 0x100, 1, b""), (START + 2, 0, 0x100, 0, b"")]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    assert list(tally.buses) == [1, 0]  # in order of first appearance
    assert set(tally.buses[1].ids) == {IdKey(0x100, False), IdKey(0x100, True)}
    assert [key.text for key in sorted(tally.buses[1].ids)] == ["100", "00000100"]


def test_load_of_switched_frames_needs_both_rates() -> None:
    rows: list[Row] = [
        (START + k * 10 * MS, 0, 0x5AA, (FrameFlag.FD | FrameFlag.BRS).value, bytes(64)) for k in range(201)
    ]
    tally = TrafficTally()
    tally.update(batch_of(rows))
    bus = tally.buses[0]
    assert bus_json(tally, 0, "can0", 500_000, None)["load_mean_percent"] is None
    expected = 100 * (bus.nominal_bits / 500_000 + bus.data_rate_bits / 2_000_000) / 2.0
    assert bus_json(tally, 0, "can0", 500_000, 2_000_000)["load_mean_percent"] == pytest.approx(expected, abs=1e-6)
    assert load_percent(bus.windows[0], S, 500_000, None) is None


def test_parts_of_other_recordings_are_refused() -> None:
    mine, other = BusTally(START), BusTally(START + 1)
    with pytest.raises(ValueError, match="origins"):
        mine.merge(other)
