"""The bits of a column of frames by the window that their stamps lie in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchcheck import compiled

Int64s = NDArray[np.int64]


def window_sums(
    time_ns: Int64s, nominal: NDArray[np.integer], data: NDArray[np.integer], origin_ns: int, width_ns: int
) -> tuple[Int64s, Int64s, Int64s]:
    """(number of the window, its nominal bits, its data-rate bits) of each run of frames in one window, in their order.

    `nominal` and `data`: bits of each frame by the rate they were sent at. There must be a frame.
    """
    if compiled.counting is not None:
        found = np.empty((3, len(time_ns)), np.int64)
        slow, fast = (column.astype(np.int64, copy=False) for column in (nominal, data))
        runs = compiled.counting.sum_windows(time_ns, slow, fast, found[0], found[1], found[2], origin_ns, width_ns)
        numbers, slow, fast = found[:, :runs].copy()
        return numbers, slow, fast
    number, starts = _runs(time_ns, origin_ns, width_ns)
    return number, *(np.add.reduceat(column, starts, dtype=np.int64) for column in (nominal, data))


def _runs(time_ns: Int64s, origin_ns: int, width_ns: int) -> tuple[Int64s, Int64s]:
    """(number of the window, first row) of each run."""
    first, last = (int(time_ns[k] - origin_ns) // width_ns for k in (0, -1))
    # few windows: looking for their edges is faster than dividing, where no stamp goes back
    if 0 <= last - first < len(time_ns) // 16 and bool((time_ns[1:] >= time_ns[:-1]).all()):
        numbers = np.arange(first, last + 1)
        starts = np.searchsorted(time_ns, origin_ns + width_ns * numbers)
        holds = np.diff(np.concatenate((starts, [len(time_ns)]))) > 0
        return numbers[holds], starts[holds]
    number = (time_ns - origin_ns) // width_ns
    starts = np.flatnonzero(np.concatenate(([True], number[1:] != number[:-1])))
    return number[starts], starts
