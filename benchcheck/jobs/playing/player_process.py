"""A player in a process of its own, and the face by which a command or a screen has it play.

Commands go one way, what it says and the frames (where they are asked for) the other way (play_line). A player whose
other side is gone ends by itself.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import pickle
import signal
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from typing import TYPE_CHECKING

from benchcheck.jobs.playing.play_line import OF_GROUP, QUEUE, Bundles, Gone, PlayerLine, readable
from benchcheck.jobs.playing.play_outputs import AllOutputs, BusOutput, TextOutput
from benchcheck.jobs.playing.play_state import Command
from benchcheck.jobs.playing.playing import Delivered, Played, Playing
from benchcheck.words.errors import BenchcheckError, SetupError
from benchcheck.words.quantity import counted

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from types import TracebackType

    from benchcheck.jobs.playing.player import Arrived, Output, Status

_ENDS_WITHIN_S = 2.0
_STDOUT_CLOSED = "whoever read the frames has closed the output"


class PlayerProcess:
    """Begins to play at once. To be closed, or used in a `with`."""

    def __init__(self, playing: Playing) -> None:
        self._file = str(playing.file)
        self.played: Played | None = None
        self._taken = 0
        context = multiprocessing.get_context("spawn")
        self._line, there = context.Pipe()
        self._process = context.Process(target=_work, args=(playing, there), name="benchcheck-replay", daemon=True)
        try:
            # it starts with interrupts held, too: Ctrl-C is for us, who tell it; and what starts it wants to hand on the
            # true stderr, where a screen has put something in its place that is no file
            with _interrupts_held(), contextlib.redirect_stderr(sys.__stderr__):
                self._process.start()
        except BaseException:
            self._line.close()
            raise
        finally:
            there.close()

    def fileno(self) -> int:
        """Is ready for reading when `receive` has something: for a selector or an event loop."""
        return self._line.fileno()

    def send(self, command: Command) -> None:
        """Have it do something. Of a player that has ended, nothing."""
        self._send(command)

    def receive(self, timeout_s: float | None = 0.0) -> Delivered | Status | Arrived | Played | None:
        """The next thing it says; None where nothing came in that time, and always behind Played, which is the last.

        Raises SetupError where the process or the bus failed, or stdout was closed.
        """
        if self.played is not None:
            return None
        if not readable(self._line, timeout_s):
            return None
        try:
            said = pickle.loads(self._line.recv_bytes())
        except (EOFError, OSError) as error:
            raise SetupError("the process that plays ended before its time", where=self._file) from error
        if isinstance(said, str):
            raise SetupError(said, where=self._file)
        if isinstance(said, tuple):
            from benchcheck.jobs.playing.reel import Frames

            said = Delivered(Frames.unpacked(said[1:]), said[0])
            self._taken += len(said.frames) + OF_GROUP
            if self._taken >= QUEUE // 4:
                self._send(self._taken)
                self._taken = 0
        elif isinstance(said, Played):
            self.played = said
        return said  # type: ignore[no-any-return]

    def close(self) -> None:
        """End the process, however far it is, and wait until it has ended."""
        self._line.close()  # which tells it to end by itself
        if self.played is None:
            self._process.terminate()  # it may be waiting for someone who does not read its output
        self._process.join(_ENDS_WITHIN_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._process.close()

    def __enter__(self) -> PlayerProcess:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _send(self, said: Command | int) -> None:
        with contextlib.suppress(OSError):  # it has ended: what it said last is still to be read
            self._line.send_bytes(pickle.dumps(said))


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


# --- in the process ------------------------------------------------------------------------------------------------


def _work(playing: Playing, connection: Connection) -> None:
    """The process: plays, and says Played last, or the words of what went wrong."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that ports are closed on the way out
    line = PlayerLine(connection)
    try:
        said: Played | str = _play(playing, line)
    except BenchcheckError as error:
        hint = f" {error.hint}" if error.hint else ""
        said = f"{error.where + ': ' if error.where else ''}{error.text}.{hint}"
    except BrokenPipeError:
        said = _STDOUT_CLOSED
        sys.stdout = None  # nothing more gets out, also not at the end
    except OSError as error:
        said = f"the frames can't be written: {error.strerror or error}"
        sys.stdout = None
    except Gone:
        return
    with contextlib.suppress(Gone):
        line.tell(said)


def _play(playing: Playing, line: PlayerLine) -> Played:
    from benchcheck.capture.time_index import open_index
    from benchcheck.jobs.playing.player import Player
    from benchcheck.jobs.playing.reel import Reel

    played = Played()
    with open_index(playing.file) as index, ExitStack() as stack:
        outputs: list[Output] = []
        if playing.onto is not None:
            from benchcheck.bench.bench import Bench

            bench = stack.enter_context(Bench(playing.onto.config))
            adapter = bench.can(playing.onto.bus, playing.onto.bitrate, acknowledge=True)
            outputs.append(BusOutput(adapter.send, lambda: len(adapter.drain()), played))
        if playing.as_text:
            outputs.append(TextOutput())
        bundle_ns = round(playing.bundle_s * 1e9) if playing.deliver else 0
        beside = Bundles(line, bundle_ns) if bundle_ns and outputs else line
        if playing.deliver:
            outputs.append(beside)
        player = Player(
            Reel(index, playing.wanted),
            playing.speed,
            AllOutputs(outputs),
            beside,
            bundle_ns=bundle_ns if beside is line else 0,
            paused=playing.paused,
            hold_at_end=playing.hold_at_end,
        )
        player.run()  # tells how it stands before it ends
        played.frames, played.lateness = player.frames, player.lateness.to_json()
        played.quit_at_s = player.position_ns / 1e9 if player.state.quitting else None
        played.notes = list(index.notes)
        if player.stops:
            played.notes.append(
                f"the player was stopped from outside, {counted(player.stops, 'time')}; it went on from there"
            )
    return played
