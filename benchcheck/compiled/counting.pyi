"""What counting.c offers. Every argument that is no number is a NumPy array; those named last are changed in place."""

from typing import Any

from numpy.typing import NDArray

Array = NDArray[Any]

def wire_bit_parts(
    can_id: Array, flags: Array, length: Array, data: Array, nominal: Array, at_data_rate: Array, /
) -> None: ...
def sum_batch(
    time_ns: Array,
    flags: Array,
    nominal: Array,
    data: Array,
    bits: Array,
    long_rows: Array,
    last_ns: int,
    short_ns: int,
    step_ns: int,
    /,
) -> tuple[int, int, int, int, int, int, int]: ...
def find_slots(
    can_id: Array, flags: Array, table: Array, keys: Array, slots: Array, multiplier: int, shift: int, /
) -> int: ...
def tell_sources(
    slots: Array,
    time_ns: Array,
    ahead_ns: Array,
    segment: Array,
    bits: Array,
    state: Array,
    histogram: Array,
    codes: Array,
    gap_rows: Array,
    gap_lengths: Array,
    gap_stamps: Array,
    gap_ahead: Array,
    evenness: bool,
    /,
) -> tuple[int, int]: ...
def tell_payload(slots: Array, data: Array, length: Array, flags: Array, state: Array, steps: bool, /) -> None: ...
def sum_windows(
    time_ns: Array,
    nominal: Array,
    data: Array,
    numbers: Array,
    nominal_sums: Array,
    data_sums: Array,
    origin_ns: int,
    width_ns: int,
    /,
) -> int: ...
def plain_frames(
    words: Array,
    time_ns: Array,
    can_id: Array,
    flags: Array,
    length: Array,
    data: Array,
    place: int,
    least: int,
    /,
) -> int: ...
