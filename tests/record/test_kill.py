"""A killed program loses nothing that it acknowledged."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

from record_bench import StillClock

import benchcheck
from benchcheck.record.rows import read_events
from benchcheck.record.store import JobRecord
from benchcheck.record.verify import verify_record

CHILD = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from record_bench import StillClock
from benchcheck.record.store import JobRecord
with JobRecord.open(Path(sys.argv[1]), clock=StillClock(), who="child") as record:
    while True:
        event = record.append("reading.taken", {"step": "s", "text": "x" * 3000}, who="child")
        print(event.seq, event.hash, flush=True)
"""


def test_no_acknowledged_event_is_missing_after_a_kill(tmp_path):
    path = tmp_path / "bay.job"
    JobRecord.create(path, title="T", profile_path="p", digest="d", who="Ann", clock=StillClock()).close()
    moments = random.Random(2031)
    environment = os.environ | {"PYTHONPATH": str(Path(benchcheck.__file__).parent.parent)}
    acknowledged: list[tuple[int, str]] = []
    for _ in range(4):
        command = [sys.executable, "-c", CHILD, str(path), str(Path(__file__).parent)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as child:
            assert child.stdout is not None
            for _ in range(moments.randint(1, 12)):
                seq, digest = child.stdout.readline().split()
                acknowledged.append((int(seq), digest))
                assert verify_record(path).ok  # while it is being written
            child.kill()
            rest = child.stdout.read().splitlines()
        acknowledged += [(int(line.split()[0]), line.split()[1]) for line in rest if len(line.split()) == 2]
        verdict = verify_record(path)
        assert verdict.ok, verdict.faults
        stored = {event.seq: event.hash for event in read_events(path)}
        assert all(stored.get(seq) == digest for seq, digest in acknowledged)
    assert len(acknowledged) >= 4
