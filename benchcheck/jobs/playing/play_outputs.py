"""Where frames go that are due: onto stdout, onto a bus, to all of several."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from benchcheck.jobs.playing.frame_rows import row_text, rows_of
from benchcheck.jobs.playing.playing import Played

if TYPE_CHECKING:
    from benchcheck.jobs.playing.player import Output
    from benchcheck.jobs.playing.reel import Frames


class AllOutputs:
    """All of several."""

    def __init__(self, outputs: Sequence[Output]) -> None:
        self._outputs = outputs

    @property
    def ready(self) -> bool:
        return all(output.ready for output in self._outputs)

    def give(self, frames: Frames, turn: int) -> None:
        for output in self._outputs:
            output.give(frames, turn)


class TextOutput:
    """Lines on stdout."""

    ready = True

    def give(self, frames: Frames, turn: int) -> None:
        rows = rows_of(frames.batch, slice(None), frames.names, frames.first_ns)
        sys.stdout.write("".join(row_text(row) + "\n" for row in rows))
        sys.stdout.flush()


class BusOutput:
    """Sends classic data frames."""

    ready = True

    def __init__(self, send: Callable[..., None], drain: Callable[[], int], played: Played) -> None:
        self._send, self._drain, self._played = send, drain, played

    def give(self, frames: Frames, turn: int) -> None:
        for row in rows_of(frames.batch, slice(None), frames.names, frames.first_ns):
            if row.is_plain:
                self._send(row.can_id, row.data, extended=row.extended)
                self._played.sent += 1
            else:
                self._played.not_sent += 1
        self._drain()  # what the bus answers is not wanted here
