"""Which frames of a column of stamps lie in one window."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Int64s = NDArray[np.int64]


def window_runs(time_ns: Int64s, origin_ns: int, width_ns: int, *, in_order: bool) -> tuple[Int64s, Int64s]:
    """(number of the window, first row) of each run of frames in one window. There must be a frame."""
    first, last = (int(time_ns[k] - origin_ns) // width_ns for k in (0, -1))
    if (
        in_order and last - first < len(time_ns) // 16
    ):  # few windows: look for their edges, which is faster than dividing
        numbers = np.arange(first, last + 1)
        starts = np.searchsorted(time_ns, origin_ns + width_ns * numbers)
        holds = np.diff(np.concatenate((starts, [len(time_ns)]))) > 0
        return numbers[holds], starts[holds]
    number = (time_ns - origin_ns) // width_ns
    starts = np.flatnonzero(np.concatenate(([True], number[1:] != number[:-1])))
    return number[starts], starts
