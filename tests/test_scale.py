"""Loading, review and plan grow no worse than n log n. Counted in function calls, which no busy machine changes."""

from __future__ import annotations

import cProfile
import math
import pstats
from pathlib import Path

from harness_maker import write

from benchcheck.harness.review.rule import review
from benchcheck.plan.plan import make_plan
from benchcheck.profile.load import load_profile


def calls(folder: Path) -> int:
    """Calls that it takes to load, review and plan the profile of a folder."""

    def work() -> None:
        harness = load_profile(folder)
        review(harness)
        make_plan(harness)

    profile = cProfile.Profile()
    profile.runcall(work)
    return int(pstats.Stats(profile).total_calls)  # type: ignore[attr-defined]


def test_the_work_grows_no_worse_than_n_log_n(tmp_path: Path) -> None:
    calls(write(tmp_path / "first", 120, 10, seed=3))  # what is imported and cached once
    small, large = 300, 1_200
    few = calls(write(tmp_path / "small", small, 15, seed=3))
    many = calls(write(tmp_path / "large", large, 60, seed=3))
    fair = large * math.log(large) / (small * math.log(small))
    assert many / few <= 1.1 * fair, f"{few} calls for {small} runs, {many} for {large}"
