"""Plays frames at the speed at which they were recorded, or a multiple of it, in a process of its own.

The schedule is absolute on the monotonic clock: a frame that was late makes none after it late. Nothing is left out to
catch up. A frame whose stamp lies before that of an earlier one (the recorder's clock stepped) is due with that one. What is due is waited for by sleeping, and the last of the time by looking at the clock.
"""

from __future__ import annotations

import multiprocessing
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from benchcheck.jobs.frame_rows import FrameRow, Wanted, frame_rows, row_text
from benchcheck.jobs.lateness import Lateness
from benchcheck.words.errors import BenchcheckError, SetupError

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from benchcheck.bench.config import BenchConfig

SPIN_NS = 60_000  # about what a sleep overruns on an idle machine: common practice, no source
_MOST_HELD = 256  # frames that are late are not held back for long
AHEAD_NS = 50_000_000  # the first frame is due this long after everything is ready


@dataclass(frozen=True, slots=True)
class Onto:
    """The bus of a bench onto which frames are sent."""

    config: BenchConfig
    bus: str
    bitrate: int | None


@dataclass(frozen=True, slots=True)
class Playing:
    """What is played: `speed` 2 takes half of the recorded time; `as_text` prints each frame."""

    file: Path
    wanted: Wanted
    speed: float
    as_text: bool = False
    onto: Onto | None = None


@dataclass(slots=True)
class Played:
    """What came of it. `not_sent` counts what could not be sent onto a bus: remote, error and FD frames."""

    frames: int = 0
    sent: int = 0
    not_sent: int = 0
    lateness: dict[str, float | None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


class Output(Protocol):
    """Where frames go. `done` is called when nothing is due: what was given must be out when it returns."""

    def give(self, row: FrameRow) -> None: ...

    def done(self) -> None: ...


def play(
    rows: Iterator[FrameRow],
    speed: float,
    output: Output,
    *,
    now_ns: Callable[[], int] = time.monotonic_ns,
    sleep: Callable[[float], None] = time.sleep,
) -> Lateness:
    """Give out each row when it is due, the first one at once (after AHEAD_NS)."""
    lateness = Lateness()
    row = next(rows, None)
    if row is None:
        return lateness
    first_ns, start_ns = row.at_ns, now_ns() + AHEAD_NS
    given: list[int] = []
    due_ns = start_ns
    while row is not None:
        due_ns = max(due_ns, start_ns + int((row.at_ns - first_ns) / speed))
        now = now_ns()
        if given and (now < due_ns or len(given) >= _MOST_HELD):
            output.done()
            now = now_ns()
            for due in given:
                lateness.add(now - due)
            given.clear()
        while now < due_ns:
            if due_ns - now > SPIN_NS:
                sleep((due_ns - now - SPIN_NS) / 1e9)
            now = now_ns()
        output.give(row)
        given.append(due_ns)
        row = next(rows, None)
    output.done()
    now = now_ns()
    for due in given:
        lateness.add(now - due)
    return lateness


def play_apart(playing: Playing) -> Played:
    """Play in a process of its own, to its end. SetupError where that process or the bus fails."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_work, args=(playing, there), name="benchcheck-replay", daemon=True)
    process.start()
    there.close()
    try:
        said = here.recv()
    except EOFError:
        said = SetupError("the process that plays ended before its time", where=str(playing.file))
    except BaseException:
        process.terminate()
        raise
    finally:
        process.join()
        here.close()
    if isinstance(said, Played):
        return said
    raise said if isinstance(said, BenchcheckError) else SetupError(str(said), where=str(playing.file))


def _work(playing: Playing, answer: Connection) -> None:
    """The process: plays, and answers with Played or with the words of what went wrong."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that ports are closed on the way out
    try:
        said: object = _play_file(playing)
    except BenchcheckError as error:
        hint = f" {error.hint}" if error.hint else ""
        said = f"{error.where + ': ' if error.where else ''}{error.text}.{hint}"
    except BrokenPipeError:
        said = "whoever read the frames has closed the output"
        sys.stdout = None  # nothing more gets out, also not at the end
    except KeyboardInterrupt:
        return
    answer.send(said)


def _play_file(playing: Playing) -> Played:
    from benchcheck.capture.logs import open_recording

    played = Played()
    with open_recording(playing.file) as recording, ExitStack() as stack:
        output: Output = _Text() if playing.as_text else _Nowhere()
        if playing.onto is not None:
            from benchcheck.bench.bench import Bench

            bench = stack.enter_context(Bench(playing.onto.config))
            adapter = bench.can(playing.onto.bus, playing.onto.bitrate, acknowledge=True)
            output = _OntoBus(adapter.send, lambda: len(adapter.drain()), played, output)
        lateness = play(frame_rows(recording, playing.wanted), playing.speed, output)
        played.frames, played.lateness = lateness.frames, lateness.to_json()
        played.notes = list(recording.notes)
    return played


class _Nowhere:
    def give(self, row: FrameRow) -> None:
        """Only the time counts."""

    def done(self) -> None:
        """Nothing is held back."""


class _Text:
    """Lines on stdout."""

    def give(self, row: FrameRow) -> None:
        sys.stdout.write(row_text(row) + "\n")

    def done(self) -> None:
        sys.stdout.flush()


class _OntoBus:
    """Sends classic data frames, and passes each one on."""

    def __init__(self, send: Callable[..., None], drain: Callable[[], int], played: Played, beside: Output) -> None:
        self._send, self._drain, self._played, self._beside = send, drain, played, beside

    def give(self, row: FrameRow) -> None:
        if row.is_plain:
            self._send(row.can_id, row.data, extended=row.extended)
            self._played.sent += 1
        else:
            self._played.not_sent += 1
        self._beside.give(row)

    def done(self) -> None:
        self._drain()  # what the bus answers is not wanted here
        self._beside.done()
