"""How soon after sufficient evidence `listen --until-present` says that all are present.

By hand: `python tests/cli/bench_present.py [TIMES]` (5 by default), with `tests` on the path of modules. Evidence is sufficient when every
message of every unit that has a period has come twice (PRESENT_RULE); when that was, the capture tells. The supply goes on while
it listens, as in a live stage.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from live_bench import PROFILE, ROOT, live_bench

from benchcheck.capture.logs import open_recording
from benchcheck.jobs.listening.live_listening import PRESENT_RULE
from benchcheck.words.frames import FrameBatch


def delay_s(folder: Path) -> float:
    capture = folder / "x.pcapng"
    with live_bench(folder, power=False) as (path, bench, harness):
        with subprocess.Popen(
            [
                sys.executable,
                "-m",
                "benchcheck",
                "listen",
                "--bench",
                str(path),
                "--profile",
                str(PROFILE),
                "--until-present",
                "--for",
                "30",
                "--capture",
                str(capture),
            ],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        ) as process:
            assert process.stderr is not None
            process.stderr.readline()  # it listens
            bench.supply.on()
            next(line for line in process.stderr if line.startswith("All are present"))
            said_ns = time.time_ns()
            process.communicate()
        periodic = {message.can_id for message in harness.buses[0].messages if message.period_s is not None}
        times: dict[int, list[int]] = {}
        with open_recording(capture) as recording:
            for item in recording:
                if isinstance(item, FrameBatch):
                    for can_id, time_ns in zip(item.can_id.tolist(), item.time_ns.tolist(), strict=True):
                        times.setdefault(can_id, []).append(time_ns)
    evidence_ns = max(times[can_id][1] for can_id in periodic)
    return (said_ns - evidence_ns) / 1e9


if __name__ == "__main__":
    print(f"rule: {PRESENT_RULE}")
    delays = []
    for _ in range(int(sys.argv[1]) if len(sys.argv) > 1 else 5):
        with tempfile.TemporaryDirectory() as name:
            delays.append(delay_s(Path(name)))
    print("seconds from sufficient evidence to the word:", ", ".join(f"{delay:.3f}" for delay in delays))
