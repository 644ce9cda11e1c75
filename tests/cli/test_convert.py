"""`benchcheck convert`: tells what would be lost, writes, and leaves what is there alone."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from frame_rows import batch_of

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.rotating_writer import RotatingWriter
from benchcheck.cli.main import run
from benchcheck.words.frames import FrameBatch, FrameFlag

START = 1_700_000_000_123_456_789


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("nav", 250_000)
        rows = [(START, 0, 0x123, 0, b"\1\2"), (START + 1000, 0, 0x124, int(FrameFlag.SENT), b"\3")]
        writer.write_frames(bus, batch_of(rows))
        writer.mark(START, "power_on")
    return path


def test_it_says_what_is_lost_and_writes(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = capture.with_name("b.csv")
    assert run(["convert", str(capture), str(target)]) == 0
    said = capsys.readouterr()
    assert said.out == f"2 of 2 frames. Written: {target}.\n"
    assert "lost: frames that were sent by the bench (1): all count as received" in said.err
    assert "lost: marks (1): left out" in said.err
    assert target.read_text().count("\n") == 3


def test_a_dry_run_only_tells(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["convert", str(capture), str(capture.with_name("b.csv")), "--dry-run", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["schema"], said["written"], said["frames"], said["frames_written"]) == (
        "benchcheck.convert/1",
        False,
        2,
        0,
    )
    assert [(loss["feature"], loss["count"]) for loss in said["losses"]] == [
        ("directions", 1),
        ("nanoseconds", 2),
        ("rates", 1),
        ("marks", 1),
    ]
    assert not capture.with_name("b.csv").exists()


def test_a_log_becomes_a_capture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.log").write_text("(1.5) can7 123#0102\nrubbish\n(1.6) can7 1F334455#R\n")
    assert run(["convert", str(tmp_path / "a.log"), str(tmp_path / "a.pcapng"), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["frames_written"], said["losses"], said["bad_records"]) == (2, [], 1)
    with open_recording(tmp_path / "a.pcapng") as recording:
        (batch,) = recording
    assert isinstance(batch, FrameBatch)
    assert batch.time_ns.tolist() == [1_500_000_000, 1_600_000_000]
    assert recording.buses[0].name == "can7"


def test_nothing_is_written_over_unless_asked_for(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = capture.with_name("b.log")
    target.write_text("precious")
    assert run(["convert", str(capture), str(target)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert target.read_text() == "precious"
    assert run(["convert", str(capture), str(target), "--replace"]) == 0
    assert target.read_text().count("nav") == 2
    before = capture.read_bytes()
    assert run(["convert", str(capture), str(capture), "--replace"]) == 2
    assert capture.read_bytes() == before


@pytest.mark.parametrize("name", ["b.mf4", "b.xyz", "b", "none/b.log"])
def test_what_cannot_be_written_is_said(capture: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["convert", str(capture), str(capture.with_name("x").parent / name)]) == 2
    assert "can't be written" in capsys.readouterr().err


@pytest.mark.parametrize("form", [".pcapng", ".blf", ".asc.gz", ".db"])
def test_a_full_disk_is_said_and_leaves_nothing(tmp_path: Path, form: str) -> None:
    # the limit on a file's size stands in for a full disk: both are an error of the write
    source, target = tmp_path / "a.log", tmp_path / f"b{form}"
    source.write_text("".join(f"(1700000000.{k:06}) can0 123#{k * 2654435761 % 2**64:016X}\n" for k in range(20_000)))
    limited = "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)); "
    limited += "from benchcheck.cli.main import run; sys.exit(run(sys.argv[1:]))"
    command = [sys.executable, "-B", "-c", limited, "convert", str(source), str(target)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert f"benchcheck: {target}: " in done.stderr
    assert "can't be written" in done.stderr
    assert "What was written before" not in done.stderr
    assert sorted(tmp_path.iterdir()) == [source]


def test_a_part_of_the_recording_is_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with RotatingWriter(tmp_path / "a.pcapng", max_bytes=1) as writer:
        bus = writer.add_bus("nav", 250_000)
        for k in range(3):
            writer.write_frames(bus, batch_of([(START + k, 0, 0x123, 0, b"\1")]))
    before = {part: part.read_bytes() for part in writer.parts}
    assert run(["convert", str(tmp_path / "a.pcapng"), str(writer.parts[1]), "--replace"]) == 2
    assert "is both the recording and where it should go" in capsys.readouterr().err
    assert {part: part.read_bytes() for part in tmp_path.iterdir()} == before
