"""Starting the simulated bench in this process: files in, one JSON line out, then serving until the end."""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TextIO

from benchcheck.profile.load import load_profile
from benchcheck.simulator.bench_troubles import checked
from benchcheck.simulator.fault_file import read_faults, write_truth
from benchcheck.simulator.server import BenchServer


def serve(
    profile: Path,
    *,
    faults: Path | None = None,
    transport: str = "auto",
    seed: int = 1,
    truth: Path | None = None,
    troubles: Iterable[str] = (),
    out: TextIO | None = None,
    until_stdin_closes: bool = False,
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Serve the profile's simulated bench until SIGTERM, Ctrl-C, or (where asked) until stdin closes.

    troubles  what is wrong with the bench itself, see bench_troubles
    out    where the bench description goes, one JSON line, when everything answers (stdout by default)
    ready  called after that
    Raises InputError or FaultyFiles for what is wrong in the files, SetupError for a missing pseudo-terminal.
    """
    harness = load_profile(profile)
    planted = read_faults(faults, harness) if faults is not None else ()
    if truth is not None:
        write_truth(truth, planted, harness)
    with BenchServer(harness, planted, transport=transport, seed=seed, troubles=checked(troubles)) as server:
        before = {number: signal.signal(number, lambda *_: server.stop()) for number in (signal.SIGTERM, signal.SIGINT)}
        try:
            if until_stdin_closes:
                # a thread, since not every kind of stdin can be watched by a selector on every system
                threading.Thread(target=_wait_for_end, args=(server.stop,), daemon=True, name="stdin").start()
            print(json.dumps(server.description()), file=out or sys.stdout, flush=True)
            ready()
            server.run()
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


def _wait_for_end(stop: Callable[[], None]) -> None:
    try:
        while os.read(0, 4096):
            pass
    except OSError:
        pass
    stop()
