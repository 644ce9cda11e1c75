"""A recording of frames that are listed, for the tests of what is played."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from frame_rows import Row, batch_of

from benchcheck.capture.recording import Mark, Recording, Traffic
from benchcheck.capture.time_index import LogSlices

START = 1_700_000_000_000_000_000
MS = 1_000_000


class Listed(Recording):
    """Batches of frames (ms since the first, bus, identifier), and marks, in the order given."""

    def __init__(self, *items: Sequence[tuple[float, int, int]] | Mark) -> None:
        super().__init__()
        self._items = items
        self.bus_index("can1")
        self.bus_index("can2")

    def __iter__(self) -> Iterator[Traffic]:
        for item in self._items:
            if isinstance(item, Mark):
                yield item
            else:
                rows: list[Row] = [(START + round(at * MS), bus, can_id, 0, b"") for at, bus, can_id in item]
                yield batch_of(rows)

    def close(self) -> None:
        """Nothing is open."""


def index_of(*items: Sequence[tuple[float, int, int]] | Mark) -> LogSlices:
    return LogSlices(Listed(*items))


def plain(*at_ms: float) -> LogSlices:
    """Frames at these milliseconds, two to a slice; the identifier is the place in the list."""
    rows = [(at, 0, k) for k, at in enumerate(at_ms)]
    return index_of(*(rows[k : k + 2] for k in range(0, len(rows), 2)))
