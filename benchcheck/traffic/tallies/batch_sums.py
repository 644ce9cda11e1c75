"""What is summed over all frames of a batch of one bus, whoever sent them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchcheck import compiled
from benchcheck.traffic.tallies.pieces import STEP_FORWARD_NS
from benchcheck.traffic.tallies.quiet_tally import SHORT_NS
from benchcheck.words.frames import FrameBatch, FrameFlag

Int64s = NDArray[np.int64]


class BatchSums(NamedTuple):
    """in_order          whether no stamp is a step away from the one before it
    errors             error frames
    nominal, data      all bits by the rate they were sent at
    latest_ns          the highest stamp
    bits               int64[n] bits of each frame at both rates
    long_rows          int64[k] rows that end an interval longer than SHORT_NS
    longest_short_ns   the longest of the other intervals, 0 for none; of no use where not in order
    """

    in_order: bool
    errors: int
    nominal: int
    data: int
    latest_ns: int
    bits: Int64s
    long_rows: Int64s
    longest_short_ns: int


def batch_sums(batch: FrameBatch, nominal: Int64s, data: Int64s, last_ns: int) -> BatchSums:
    """Of at least one frame. `nominal` and `data`: bits of each; `last_ns`: the stamp before the first."""
    if compiled.counting is not None:
        bits, rows = np.empty((2, len(batch)), np.int64)
        in_order, errors, slow, fast, latest, count, longest = compiled.counting.sum_batch(
            batch.time_ns, batch.flags, nominal, data, bits, rows, last_ns, SHORT_NS, STEP_FORWARD_NS
        )
        return BatchSums(bool(in_order), errors, slow, fast, latest, bits, rows[:count], longest)
    between = np.diff(batch.time_ns, prepend=np.int64(last_ns))
    is_long = between > SHORT_NS
    rows = np.flatnonzero(is_long)
    short = np.where(is_long, 0, between) if len(rows) else between
    return BatchSums(
        in_order=int(between.min()) >= 0 and int(between.max()) <= STEP_FORWARD_NS,
        errors=int(np.count_nonzero(batch.flags & np.uint16(FrameFlag.ERROR))),
        nominal=int(nominal.sum()),
        data=int(data.sum()),
        latest_ns=int(batch.time_ns.max()),
        bits=nominal + data,
        long_rows=rows,
        longest_short_ns=int(short.max(initial=0)),
    )
