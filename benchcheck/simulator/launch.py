"""Starting the simulated bench as a child process, and ending it so that nothing is left behind."""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from types import TracebackType
from typing import IO

import benchcheck
from benchcheck.words.errors import ExitCode, InputError, SetupError

START_S = 30.0  # a cold machine may take long to load the numeric library
END_S = 5.0


class SimulatedBench:
    """A running simulated bench. `description` has the keys of bench.toml. Ends with `close` or the with block."""

    def __init__(self, process: subprocess.Popen[bytes], errors: IO[bytes], description: dict[str, object]) -> None:
        self._process = process
        self._errors = errors
        self.description = description

    @property
    def pid(self) -> int:
        """The child's process id."""
        return self._process.pid

    def close(self) -> None:
        """End the child and wait for it. May be called twice."""
        _end(self._process)
        self._errors.close()

    def __enter__(self) -> SimulatedBench:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def start(
    profile: Path,
    *,
    faults: Path | None = None,
    transport: str = "auto",
    seed: int = 1,
    truth: Path | None = None,
) -> SimulatedBench:
    """Start the simulated bench of `profile` and wait until everything on it answers.

    transport  `pty`, `tcp`, or `auto`: a pseudo-terminal where the system has them
    truth      where the child writes the list of what it planted (tests only)
    Raises InputError where the files are wrong, SetupError where it does not come up, with the child's own words.
    """
    command = [
        sys.executable,
        "-m",
        "benchcheck.simulator",
        str(profile),
        "--transport",
        transport,
        "--seed",
        str(seed),
    ]
    if faults is not None:
        command += ["--faults", str(faults)]
    if truth is not None:
        command += ["--truth", str(truth)]
    errors = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the child
    try:
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=errors,
            env=_environment(),
            start_new_session=True,  # Ctrl-C goes to whoever started it, who then ends it in order
        )
    except OSError as error:
        errors.close()
        raise SetupError(f"the simulated bench can't be started: {error}", where=sys.executable) from error
    try:
        return SimulatedBench(process, errors, _first_line(process, errors))
    except BaseException:
        _end(process)
        errors.close()
        raise


def demo_faults_path() -> Path:
    """The faults of the demo bench."""
    return Path(__file__).with_name("demo_faults.toml")


def _environment() -> dict[str, str]:
    """This environment; a package that runs from its checkout is found there by the child as well."""
    environment = dict(os.environ)
    home = Path(benchcheck.__file__).resolve().parent.parent
    if home.name not in ("site-packages", "dist-packages"):
        paths = [str(home), environment.get("PYTHONPATH", "")]
        environment["PYTHONPATH"] = os.pathsep.join(path for path in paths if path)
    return environment


def _first_line(process: subprocess.Popen[bytes], errors: IO[bytes]) -> dict[str, object]:
    """The description that the child prints when it is ready."""
    lines: queue.Queue[bytes] = queue.Queue()
    out = process.stdout
    assert out is not None
    reader = threading.Thread(target=lambda: lines.put(out.readline()), daemon=True, name="simulator-start")
    reader.start()
    try:
        line = lines.get(timeout=START_S)  # counted on the monotonic clock
    except queue.Empty:
        _end(process)
        reader.join(END_S)
        raise SetupError(f"the simulated bench was not ready after {START_S:.0f} s", hint=_said(errors)) from None
    reader.join(END_S)
    try:
        description = json.loads(line)
    except ValueError:
        _end(process)
        if process.returncode == ExitCode.USAGE:
            raise InputError("the simulated bench was given what it can't use", hint=_said(errors)) from None
        raise SetupError("the simulated bench did not start", hint=_said(errors)) from None
    if not isinstance(description, dict):
        raise SetupError("the simulated bench gave no description", hint=_said(errors))
    return description


def _said(errors: IO[bytes]) -> str:
    errors.seek(0)
    return errors.read().decode("utf-8", "replace").strip() or "It said nothing."


def _end(process: subprocess.Popen[bytes]) -> None:
    """Close its stdin, which it takes as the end; then insist, by its own id."""
    if process.stdin is not None and not process.stdin.closed:
        with contextlib.suppress(OSError):
            process.stdin.close()
    for insist in (None, process.terminate, process.kill):
        if insist is not None:
            insist()
        try:
            process.wait(END_S)
            break
        except subprocess.TimeoutExpired:
            continue
    if process.stdout is not None:
        process.stdout.close()
