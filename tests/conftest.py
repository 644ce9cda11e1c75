"""The leak guard: after each test no thread, serial port, socket or child process more than before it."""

from __future__ import annotations

import gc
import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# A machine that is busy with other things is no failure: examples are bounded by number, not by time.
settings.register_profile("calm", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("calm")

# Compiled once and kept, whatever the environment says: each worker, and each command that is run as a program, would
# compile the same files again, and that is a good part of the time.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# As the package does, which a test module imports after NumPy: several threads are slower on matrices of this size.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

gc.set_threshold(50_000, 20, 20)  # as the command does

# Files that wait long, for a simulated bench or a terminal: they begin first, and the others go on beside them.
_WAIT_LONG = (
    *("test_demo.py", "test_screens.py", "test_check.py", "test_ready.py", "test_listen.py"),
    *("test_hearing_drivers.py", "test_bench_troubles.py", "test_check_hands_free.py"),
    *("test_replay_command.py", "test_replay_play.py", "test_simulator_process.py"),
)

_GRACE_S = 2.0  # what is ending by itself may take this long; nothing waits when nothing is left over
_ENDPOINTS = ("/dev/pts/", "/dev/ptmx", "/dev/tty", "socket:[")
_LIBRARY_CHILDREN = ("multiprocessing.resource_tracker", "multiprocessing.forkserver")


def _threads() -> set[threading.Thread]:
    return {thread for thread in threading.enumerate() if thread.is_alive()}


def _endpoints() -> dict[int, str]:
    """Open serial ports, pseudo-terminals and sockets of this process: file descriptor -> what it is."""
    found = {}
    for entry in Path("/proc/self/fd").iterdir() if Path("/proc/self/fd").is_dir() else ():
        try:
            target = str(entry.readlink())
        except OSError:
            continue  # closed meanwhile, such as the listing's own
        if target.startswith(_ENDPOINTS) and int(entry.name) > 2:
            found[int(entry.name)] = target
    return found


def _children() -> set[int]:
    found: set[int] = set()
    for task in Path("/proc/self/task").iterdir() if Path("/proc/self/task").is_dir() else ():
        try:
            found |= {int(pid) for pid in (task / "children").read_text(encoding="ascii").split()}
        except OSError:
            continue  # the thread has ended, or this kernel doesn't list children
    return {pid for pid in found if not _is_library_child(pid)}


def _is_library_child(pid: int) -> bool:
    try:
        command = Path(f"/proc/{pid}/cmdline").read_bytes().decode("utf-8", "replace")
    except OSError:
        return False
    return any(name in command for name in _LIBRARY_CHILDREN)


def _left_over(threads: set[threading.Thread], endpoints: dict[int, str], children: set[int]) -> list[str]:
    left = [f"thread {thread.name}" for thread in _threads() - threads]
    left += [f"open {what} (fd {fd})" for fd, what in _endpoints().items() if endpoints.get(fd) != what]
    left += [f"child process {pid}" for pid in _children() - children]
    return left


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: item.path.name not in _WAIT_LONG)


@pytest.fixture(autouse=True)
def leak_guard() -> Iterator[None]:
    before = _threads(), _endpoints(), _children()
    yield
    left = _left_over(*before)
    if left:
        gc.collect()
    deadline = time.monotonic() + _GRACE_S
    while left and time.monotonic() < deadline:
        for thread in _threads() - before[0]:
            thread.join(0.05)
        time.sleep(0.01)
        left = _left_over(*before)
    if left:
        pytest.fail("left behind by this test: " + ", ".join(left))
