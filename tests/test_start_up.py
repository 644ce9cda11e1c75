"""Start-up: asking for help stays cheap.

`benchcheck --help` may take at most 6 times a bare `python -c pass`: medians of runs that take turns, in one
session of one machine, so that the figure is a ratio and no machine's speed counts. (For scale, measured once: a
click program takes 4, argparse 3, importing NumPy alone 16.) The processor time of the child is compared, not the
wall clock, so that a busy machine does not count either.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys

ROUNDS = 9
AT_MOST = 6.0


def _cpu_s(arguments: list[str]) -> float:
    """User and system time of one child, in seconds."""
    child = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0, arguments
    return usage.ru_utime + usage.ru_stime


def test_help_within_six_times_a_bare_python() -> None:
    bare, ours = [], []
    help_program = [sys.executable, "-m", "benchcheck", "--help"]
    for _ in range(2):  # the first runs write and read caches
        _cpu_s(help_program)
    for _ in range(ROUNDS):
        bare.append(_cpu_s([sys.executable, "-c", "pass"]))
        ours.append(_cpu_s(help_program))
    ratio = statistics.median(ours) / statistics.median(bare)
    assert ratio <= AT_MOST, f"--help takes {ratio:.1f} times a bare python"
