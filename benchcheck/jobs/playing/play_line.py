"""The player's end of the line to whoever has it played, over a pipe between two processes.

Frames wait in line while fewer than QUEUE are under way; where whoever reads them falls behind, the player holds them
back and gives more at once later: none is lost, and how late they were shows in its lateness.
"""

from __future__ import annotations

import pickle
import select
import sys
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from benchcheck.jobs.playing.play_state import Command

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from benchcheck.jobs.playing.player import Arrived, Status
    from benchcheck.jobs.playing.reel import Frames

QUEUE = 4096  # frames under way to whoever reads them: as many as a pipe holds without making the player wait
OF_GROUP = 32  # ...a group taking as much room as so many frames


class Gone(Exception):
    """Whoever had it played is gone."""


class PlayerLine:
    """The player's end of the line; it is `ready` while fewer than QUEUE frames are under way."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._under_way = 0

    @property
    def ready(self) -> bool:
        return self._under_way < QUEUE

    def wait(self, seconds: float | None) -> Sequence[Command]:
        if not readable(self._connection, seconds):
            return ()
        commands: list[Command] = []
        try:
            while self._connection.poll():
                said = pickle.loads(self._connection.recv_bytes())
                if isinstance(said, Command):
                    commands.append(said)
                else:
                    self._under_way -= said
        except (EOFError, OSError) as error:
            raise Gone from error
        return commands

    def tell(self, said: object) -> None:
        try:
            self._connection.send_bytes(pickle.dumps(said, pickle.HIGHEST_PROTOCOL))
        except OSError as error:
            raise Gone from error

    def give(self, frames: Frames, turn: int) -> None:
        self._under_way += len(frames) + OF_GROUP
        self.tell((turn, *frames.packed()))


if sys.platform == "win32":

    def readable(connection: Connection, seconds: float | None) -> bool:
        return connection.poll(seconds)

else:

    def readable(connection: Connection, seconds: float | None) -> bool:
        """As Connection.poll, which waits in whole milliseconds and takes four times as long about it."""
        return bool(select.select([connection], [], [], seconds)[0])


class Bundles:
    """A line that keeps frames back until a bundle is full, or something is told: beside outputs that don't wait."""

    def __init__(self, line: PlayerLine, bundle_ns: int, now_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._line, self._bundle_ns, self._now_ns = line, bundle_ns, now_ns
        self._held: list[Frames] = []
        self._turn = 0
        self._due_ns = now_ns()

    @property
    def ready(self) -> bool:
        return self._line.ready

    def give(self, frames: Frames, turn: int) -> None:
        if turn != self._turn:
            self._flush()
            self._turn = turn
        self._held.append(frames)
        now = self._now_ns()
        if now >= self._due_ns:
            self._due_ns = now + self._bundle_ns
            self._flush()

    def wait(self, seconds: float | None) -> Sequence[Command]:
        return self._line.wait(seconds)

    def tell(self, said: Status | Arrived) -> None:
        self._flush()
        self._line.tell(said)

    def _flush(self) -> None:
        from benchcheck.jobs.playing.reel import joined

        if self._held:
            self._line.give(joined(self._held), self._turn)
            self._held.clear()
