"""The recordings of real equipment give the facts computed frame by frame in plain Python, to the last frame and bit.

Source of recordings and facts: tests/data/recordings/README.md (Debian source package gpsd 3.22).
"""

from __future__ import annotations

from functools import cache

import pytest
from recordings import RECORDINGS, facts_of

from benchcheck.capture.logs import open_line, open_recording
from benchcheck.capture.recording import LineChunk
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.presence.presence import UnitExpectation, judge_presence, watch_of
from benchcheck.traffic.summary import bus_json, duration_json
from benchcheck.traffic.tallies.bus_tally import IdKey, Watch
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.words.frames import FrameBatch


@cache
def marine() -> TrafficTally:
    """The marine recording, with its identifiers also gathered by source address (the last byte of the identifier)."""
    ids = [int(text, 16) for text in facts_of("marine_can_250k")["per_id"]]
    watch = Watch({}, {IdKey(can_id, True): f"{can_id & 0xFF:02X}" for can_id in ids})
    tally = TrafficTally(watch={0: watch})
    with open_recording(RECORDINGS / "marine_can_250k.log") as recording:
        for item in recording:
            assert isinstance(item, FrameBatch)
            tally.update(item)
        assert recording.bad_records == 0
        assert recording.skipped_lines == 0
    return tally


def test_marine_totals() -> None:
    facts, tally = facts_of("marine_can_250k"), marine()
    bus = bus_json(tally, 0, "can0", facts["bitrate"], None)
    assert tally.frames == bus["frames"] == facts["frames"] == 10495
    assert bus["wire_bits"] == facts["total_wire_bits"] == 1463095
    assert duration_json(tally)["duration_s"] == facts["duration_s"]
    assert tally.first_ns == int(facts["first_timestamp_s"].replace(".", "")) * 1000
    assert bus["load_mean_percent"] == pytest.approx(facts["bus_load_percent"], abs=5e-5)
    assert bus["load_peak_percent"] == pytest.approx(facts["peak_1s_load_percent"], abs=5e-4)
    assert len(bus["ids"]) == facts["distinct_ids"]  # type: ignore[arg-type]
    assert bus["clock_steps"] == []


def test_marine_windows() -> None:
    facts, bus = facts_of("marine_can_250k"), marine().buses[0]
    windows = [bus.windows[k].nominal if k in bus.windows else 0 for k in range(215)]
    assert windows == facts["one_second_windows_bits"]


def test_marine_silences() -> None:
    facts = facts_of("marine_can_250k")
    gaps = bus_json(marine(), 0, "can0", 250_000, None)["gaps"]
    expected = [
        {"start_s": gap["after_rel_s"], "length_s": gap["length_s"]} for gap in facts["whole_bus_silences_over_0.3s"]
    ]
    assert gaps == expected
    assert len(expected) == 8


def test_marine_identifiers() -> None:
    facts = facts_of("marine_can_250k")["per_id"]
    ids = {entry["id"]: entry for entry in bus_json(marine(), 0, "can0", 250_000, None)["ids"]}  # type: ignore[attr-defined]
    assert set(ids) == set(facts)
    for name, fact in facts.items():
        entry = ids[name]
        assert entry["extended"] is True
        for mine, theirs in (
            ("count", "count"),
            ("wire_bits", "wire_bits"),
            ("first_s", "first_rel_s"),
            ("last_s", "last_rel_s"),
            ("min_gap_s", "min_gap_s"),
            ("max_gap_s", "max_gap_s"),
            ("max_gap_at_s", "max_gap_starts_rel_s"),
        ):
            assert entry[mine] == fact[theirs], (name, mine)
        # the facts give the mean to the microsecond
        expected = fact["mean_period_s"]
        assert entry["mean_period_s"] == (None if expected is None else pytest.approx(expected, abs=5.1e-7))


def test_marine_source_addresses() -> None:
    facts, tally = facts_of("marine_can_250k")["per_source_address"], marine()
    groups = tally.buses[0].groups
    assert set(groups) == set(facts)
    for address, fact in facts.items():
        source = groups[address]
        assert source.count == fact["count"]
        assert source.wire_bits == fact["wire_bits"]
        assert source.max_gap_ns == round(fact["max_gap_s"] * 1e9)
        assert source.max_gap_at_ns == (tally.first_ns or 0) + round(fact["max_gap_starts_rel_s"] * 1e9)
        assert source.min_gap_ns == round(fact["min_gap_s"] * 1e9)


@pytest.mark.parametrize("name", ["chartplotter_0183", "heading_receiver_0183"])
def test_lines(name: str) -> None:
    facts = facts_of(name)
    tally = LineTally("nmea0183")
    with open_line(RECORDINGS / f"{name}.nmea", "nmea0183") as recording:
        for item in recording:
            assert isinstance(item, LineChunk)
            tally.feed(item.data)
    tally.flush()
    assert tally.bytes == facts["bytes"]
    assert tally.good == facts["checksum_ok"] == facts["sentences"]
    assert tally.bad_checksum == facts["checksum_bad"]
    assert tally.no_checksum == facts["no_checksum"]
    assert tally.other == facts["non_sentence_lines"]
    assert {kind: entry.count for kind, entry in tally.types.items()} == facts["per_type"]
    assert tally.over_long == 0
    assert tally.printable_share == 1.0


def test_marine_silences_make_no_unit_intermittent() -> None:
    # periods as the senders keep them between the recorder's silences (read off the facts' minima and means)
    expected = [
        UnitExpectation("02", ((0x09F80102, True, 0.1), (0x09F80202, True, 0.25), (0x0DF01002, True, 1.0)), 2.0),
        UnitExpectation("11", ((0x0DF50B11, True, 1.0), (0x18EEFF11, True, None)), 2.0),
        UnitExpectation("B0", ((0x19F214B0, True, 1.5),), 2.0),
        UnitExpectation("01", ((0x11F80F01, True, None),), 2.0),
    ]
    tally = TrafficTally(watch={0: watch_of(expected)})
    with open_recording(RECORDINGS / "marine_can_250k.log") as recording:
        for item in recording:
            assert isinstance(item, FrameBatch)
            tally.update(item)
    assert tally.first_ns is not None
    assert tally.last_ns is not None
    found = judge_presence(expected, tally.buses[0], start_ns=tally.first_ns, end_ns=tally.last_ns)
    assert {unit.unit: unit.state.value for unit in found[:4]} == dict.fromkeys(["02", "11", "B0", "01"], "present")
    assert {unit.state.value for unit in found[4:]} == {"unexpected"}
    assert len(found) == 4 + 16 - 7
