"""How much faster a capture is surveyed than python-can merely reads the same frames: ratios of one run on one core.

By hand: `python tests/capture/bench_survey.py [FRAMES]` (5,000,000 by default; writes some 250 MB for a while).

The frames are those of the profile survey_launch, each message with its period, its length and a little jitter. python-can
writes the first of them in every form that it can write and read here, reads each file back, and reads more of them from
the form that was fastest. The survey is that of the command: exact load, presence of each unit, periods. Reading alone
(the columns) and with the exact bits of each frame are measured beside it, and so is the peak memory of a process that surveys a fifth and all of the frames.
"""

from __future__ import annotations

import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import can
import numpy as np

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.cli.survey_run import Survey
from benchcheck.harness.model import Harness
from benchcheck.profile.load import load_profile
from benchcheck.traffic.wire.wire_bits import wire_bits
from benchcheck.words.frames import FrameBatch, FrameFlag

PROFILE = Path(__file__).parents[2] / "profiles" / "survey_launch"
START_NS = 1_700_000_000_000_000_000
PIECE_NS = 60 * 1_000_000_000
FEW, MORE = 50_000, 300_000
SUFFIXES = (".asc", ".blf", ".csv", ".db", ".log", ".trc")


def pieces(harness: Harness, count: int) -> Iterator[FrameBatch]:
    """The traffic of the profile's first bus, a minute at a time, until there are `count` frames."""
    rng = np.random.default_rng(1)
    messages = harness.buses[0].messages
    start = START_NS
    while count > 0:
        times, rows = [], []
        for row, message in enumerate(messages):
            period_ns = round((message.period_s or 1.0) * 1e9)
            due = start + np.arange(
                -(-(start - START_NS) // period_ns) * period_ns - (start - START_NS), PIECE_NS, period_ns
            )
            times.append(due + row * 300_000 + rng.integers(0, 200_000, len(due)))
            rows.append(np.full(len(due), row))
        time_ns, row = np.concatenate(times), np.concatenate(rows)
        order = np.argsort(time_ns, kind="stable")[:count]
        row = row[order]
        length = np.array([message.length for message in messages], np.uint8)[row]
        data = rng.integers(0, 256, (len(row), 8), dtype=np.uint8) * (np.arange(8) < length[:, None]).astype(np.uint8)
        yield FrameBatch(
            time_ns[order].astype(np.int64),
            np.zeros(len(row), np.uint16),
            np.array([message.can_id for message in messages], np.uint32)[row],
            np.array([message.extended for message in messages], np.uint16)[row] * np.uint16(FrameFlag.EXTENDED),
            length,
            data,
        )
        count -= len(row)
        start += PIECE_NS


def write_capture(path: Path, harness: Harness, count: int) -> None:
    bus = harness.buses[0]
    with CaptureWriter(path) as writer:
        interface = writer.add_bus(bus.name, bus.bitrate)
        for batch in pieces(harness, count):
            writer.write_frames(interface, batch)
            writer.statistics(interface, int(batch.time_ns[-1]), received=len(batch), dropped=0)


def write_table(path: Path, harness: Harness, count: int) -> None:
    """The form .db without the library's writer, which keeps some 500 frames of a burst."""
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(
            "CREATE TABLE messages (ts REAL, arbitration_id INTEGER, extended INTEGER, remote INTEGER, error INTEGER, "
            "dlc INTEGER, data BLOB)"
        )
        for batch in pieces(harness, count):
            rows = zip(batch.time_ns, batch.can_id, batch.flags, batch.length, batch.data, strict=True)
            database.executemany(
                "INSERT INTO messages VALUES (?, ?, ?, 0, 0, ?, ?)",
                [(int(t) / 1e9, int(i), int(f), int(n), data[:n].tobytes()) for t, i, f, n, data in rows],
            )


def write_log(path: Path, harness: Harness, count: int) -> None:
    if path.suffix == ".db":
        write_table(path, harness, count)
        return
    with can.Logger(str(path)) as logger:
        for batch in pieces(harness, count):
            for k in range(len(batch)):
                message = can.Message(
                    timestamp=int(batch.time_ns[k]) / 1e9,
                    arbitration_id=int(batch.can_id[k]),
                    is_extended_id=bool(batch.flags[k]),
                    data=batch.data[k][: batch.length[k]].tobytes(),
                    channel=0,
                )
                logger(message)


def read_log(path: Path) -> tuple[int, float]:
    """(frames, seconds of this core) of python-can's reader, which makes a Message of each and nothing else."""
    start = time.process_time()
    count = 0
    with can.LogReader(str(path)) as reader:
        for _ in reader:
            count += 1
    return count, time.process_time() - start


def read_columns(path: Path) -> tuple[int, float]:
    start = time.process_time()
    with CaptureReader(path) as reader:
        count = sum(len(item) for item in reader if isinstance(item, FrameBatch))
    return count, time.process_time() - start


def read_and_count_bits(path: Path) -> tuple[int, float]:
    start = time.process_time()
    count = 0
    with CaptureReader(path) as reader:
        for item in reader:
            if isinstance(item, FrameBatch):
                count += len(wire_bits(item))
    return count, time.process_time() - start


def survey(path: Path, harness: Harness) -> tuple[int, float]:
    start = time.process_time()
    with open_recording(path, gathered=True) as recording:  # as the command does
        work = Survey(recording, harness, None, None, None)
        work.read()
        document = work.document(path)
    spent = time.process_time() - start
    units = document["units"]
    assert isinstance(units, list)
    assert {unit["state"] for unit in units} == {"present"}, units
    return int(str(document["frames"])), spent


def main(count: int) -> None:
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    harness = load_profile(PROFILE)
    with tempfile.TemporaryDirectory() as folder:
        rates = {}
        for suffix in SUFFIXES:
            path = Path(folder) / f"few{suffix}"
            write_log(path, harness, FEW)
            read_log(path)
            frames, spent = read_log(path)
            assert frames == FEW
            rates[suffix] = frames / spent
            print(f"python-can reads {suffix:<5} {rates[suffix] / 1e6:6.3f} million frames/s")
        fastest = max(rates, key=lambda suffix: rates[suffix])
        path = Path(folder) / f"more{fastest}"
        write_log(path, harness, MORE)
        frames, spent = min((read_log(path) for _ in range(2)), key=lambda result: result[1])
        library = frames / spent
        print(f"its fastest, {fastest}, over {frames:,} frames: {library / 1e6:.3f} million frames/s")

        native, fifth = Path(folder) / "native.pcapng", Path(folder) / "fifth.pcapng"
        write_capture(native, harness, count)
        write_capture(fifth, harness, count // 5)
        read_columns(fifth)
        # exact load, presence, periods; what judging the profile's signals costs comes beside it
        plain = replace(harness, signals=())
        for name, (frames, spent) in (
            ("columns alone", min((read_columns(native) for _ in range(2)), key=lambda result: result[1])),
            (
                "columns and wire bits",
                min((read_and_count_bits(native) for _ in range(2)), key=lambda result: result[1]),
            ),
            ("whole survey", min((survey(native, plain) for _ in range(2)), key=lambda result: result[1])),
            (
                f"whole survey and the limits of {len(harness.signals)} signals",
                min((survey(native, harness) for _ in range(2)), key=lambda result: result[1]),
            ),
        ):
            assert frames == count
            rate = frames / spent
            print(
                f"{name}: {frames:,} frames in {spent:.2f} s, {rate / 1e6:.1f} million frames/s, "
                f"{rate / library:.1f} times python-can's fastest"
            )
        for path in (fifth, native):
            peak = subprocess.run(
                [sys.executable, __file__, "--peak", str(path)], check=True, capture_output=True, text=True
            ).stdout
            print(f"peak memory of a survey of {path.stat().st_size / 1e6:.0f} MB: {peak.strip()} MB")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--peak"]:
        survey(Path(sys.argv[2]), load_profile(PROFILE))
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000)
