"""A bus with a data bit rate: the live reading, the capture and the survey of it give one load, at both rates."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from frame_rows import Row, batch_of
from sample_profile import FILES, Change, sample

from benchcheck.capture.logs import open_recording
from benchcheck.checks.kind import Context, all_kinds
from benchcheck.cli.main import run
from benchcheck.harness.difference.flat_fields import flat
from benchcheck.harness.model import Harness
from benchcheck.jobs.listening.capture_file import CaptureFile
from benchcheck.jobs.listening.heard import AdapterSaid, Listened, bus_reading
from benchcheck.traffic.presence.expectations import expectations
from benchcheck.traffic.presence.presence import watch_of
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.wire.wire_bits import wire_bit_parts
from benchcheck.words.frames import FrameBatch, FrameFlag
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading
from benchcheck.words.verdict import Outcome

S = 1_000_000_000
START = 1_700_000_000 * S
RATE: Change = ("harness.toml", "bitrate = 250000\n", "bitrate = 250000\ndata_bitrate = 2000000\n")
SAID = AdapterSaid("model", "listening", "silent", True)
SWITCHED = int(FrameFlag.FD | FrameFlag.BRS)
ROWS: list[Row] = [(START + k * S // 100, 0, 0x100, SWITCHED, bytes([k % 256] * 64)) for k in range(301)]


def heard(harness: Harness) -> Reading:
    expected = expectations(harness, harness.buses[0])
    tally = TrafficTally(watch={0: watch_of(expected)})
    tally.update(batch_of(ROWS))
    return bus_reading(harness, 0, tally, expected, SAID, Listened(START, ROWS[-1][0], None, False))


def test_the_live_load_is_reckoned_at_both_rates() -> None:
    detail = heard(sample(RATE)).detail
    nominal, fast = (part[:300] for part in wire_bit_parts(batch_of(ROWS)))
    seconds = [
        100 * (int(nominal[k : k + 100].sum()) / 250e3 + int(fast[k : k + 100].sum()) / 2e6) for k in (0, 100, 200)
    ]
    assert detail["load_by_second_percent"] == pytest.approx(seconds, abs=6e-4)
    assert detail["load_peak_percent"] == pytest.approx(max(seconds), abs=1e-6)
    assert detail["data_bitrate"] == 2_000_000


def test_without_the_second_rate_there_is_no_load() -> None:
    detail = heard(sample()).detail
    assert (detail["load_peak_percent"], detail["load_mean_percent"]) == (None, None)
    assert detail["load_by_second_percent"] == []
    (step,) = all_kinds()["bus_load"].steps(Context(sample(), MeterSpec()))
    measuring = all_kinds()["bus_load"].measure(step)
    next(measuring)
    with pytest.raises(StopIteration) as stop:
        measuring.send(heard(sample()))
    assert stop.value.value.verdict.outcome is Outcome.UNSURE
    assert "data_bitrate" in stop.value.value.verdict.text


def test_the_capture_knows_it_and_the_survey_tells_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    harness = sample(RATE)
    sink = CaptureFile(tmp_path / "fd.pcapng", harness)
    sink.frames("can1", batch_of(ROWS))
    sink.close()
    with open_recording(sink.path) as recording:
        assert sum(len(item) for item in recording if isinstance(item, FrameBatch)) == 301
        assert (recording.buses[0].bitrate, recording.buses[0].data_bitrate) == (250_000, 2_000_000)
    assert run(["survey", str(sink.path), "--json"]) == 0
    (bus,) = json.loads(capsys.readouterr().out)["buses"]
    assert bus["load_peak_percent"] == heard(harness).detail["load_peak_percent"]
    assert (bus["bitrate"], bus["data_bitrate"]) == (250_000, 2_000_000)


def test_the_profile_gives_it_where_the_recording_does_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A log holds no rates: with the profile it has a load."""
    for name, text in FILES.items():
        path = tmp_path / "bay" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(
            text.replace(RATE[1], RATE[2]).replace('network = "net.dbc"\n', "") if name == RATE[0] else text
        )
    log = tmp_path / "fd.log"
    log.write_text(
        "".join(f"({t // S}.{t % S:09d}) can1 {i:03X}##1{data.hex()}\n" for t, _, i, _, data in ROWS), encoding="ascii"
    )
    run(["survey", str(log), "--profile", str(tmp_path / "bay"), "--json"])
    (bus,) = json.loads(capsys.readouterr().out)["buses"]
    assert bus["load_peak_percent"] == heard(sample(RATE)).detail["load_peak_percent"]
    run(["survey", str(log), "--bitrate", "250000", "--json"])
    document = json.loads(capsys.readouterr().out)
    assert document["buses"][0]["load_peak_percent"] is None
    assert any("--data-bitrate, or data_bitrate in the profile" in note for note in document["notes"])


def test_a_changed_rate_is_a_change_of_its_bus() -> None:
    bus = sample(RATE).buses[0]
    before, now = flat(bus), flat(replace(bus, data_bitrate=5_000_000))
    assert {key: now[key] for key in now if now[key] != before[key]} == {"data_bitrate": "5000000"}
