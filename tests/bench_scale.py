"""How loading, review and plan grow with the harness: seconds of one core, and memory.

By hand: `python tests/bench_scale.py` (2,000 runs, then 20,000 runs and 1,000 connectors, each in a process of its own).
The figures of DEVELOPERS.md come from here; tests/test_scale.py holds the growth, counted in calls instead of seconds.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SIZES = ((2_000, 100), (20_000, 1_000))


def measure(folder: Path) -> None:
    import resource

    started = time.process_time()
    from benchcheck.cli.main import collect_less_often

    collect_less_often()  # as the command does
    from benchcheck.harness.review.rule import review
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.load import load_profile

    harness = load_profile(folder)
    loaded = time.process_time()
    found = review(harness)
    reviewed = time.process_time()
    plan = make_plan(harness)
    planned = time.process_time()
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"load {loaded - started:.2f} s, review {reviewed - loaded:.2f} s ({len(found)} findings), "
        f"plan {planned - reviewed:.2f} s ({len(plan.steps)} steps), peak {peak_mb:.0f} MB; "
        f"total_s={planned - started:.2f}"
    )


def main() -> None:
    if len(sys.argv) > 1:
        measure(Path(sys.argv[1]))
        return
    from harness_maker import write

    totals = []
    with tempfile.TemporaryDirectory() as parent:
        for runs, connectors in SIZES:
            folder = write(Path(parent) / str(runs), runs, connectors, seed=1)
            said = subprocess.run(
                [sys.executable, __file__, str(folder)], check=True, capture_output=True, text=True
            ).stdout
            print(f"{runs} runs, {connectors} connectors: {said.strip()}")
            totals.append(float(said.rpartition("total_s=")[2]))
    (small, _), (large, _) = SIZES
    fair = large * math.log(large) / (small * math.log(small))
    print(f"grew {totals[1] / totals[0]:.1f} times; n log n allows {fair:.1f}")


if __name__ == "__main__":
    main()
