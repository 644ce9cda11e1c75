"""Whether a load that was reckoned can be true, in words."""

from __future__ import annotations

from collections.abc import Mapping

# More than any frame has: an FD frame with 64 bytes and all stuff bits that can be has below 800.
MOST_FRAME_BITS = 800
# A mean may lie a little above the fullest second in any recording: the frame at its very end is in no whole second.
_PLAINLY_BELOW = 0.9


def too_high(bus: Mapping[str, object]) -> str:
    """What to say of a load above 100 % in an entry of `buses[]`; empty where there is none.

    Frames are stamped as a whole, so a window can hold up to one frame more than it had time for, and so can each piece
    of a recording. Beyond that the bit rate is wrong.
    """
    mean, peak = _number(bus["load_mean_recorded_percent"]), _number(bus["load_peak_recorded_percent"])
    worst = max(mean, peak)
    if worst <= 100:
        return ""
    bitrate, bits = _number(bus["bitrate"]), _number(bus["wire_bits"])
    mean_slack = mean * MOST_FRAME_BITS * _number(bus["pieces"]) / bits
    peak_slack = 100 * MOST_FRAME_BITS / bitrate
    if mean - mean_slack > 100 or peak - peak_slack > 100:
        return f"a load of {worst:,.0f} % is more than a bus can carry: the bit rate of {bitrate:,.0f} bit/s can't be right"
    return (
        f"the load comes out at {worst:.2f} %, above 100 % by no more than one frame: frames are stamped as a whole, "
        "so the bus is full, or the time is too short to tell"
    )


def lower_bound(uncounted: int, dropped: int, *, unrecorded: bool = False) -> str:
    """What to say where frames are not in the load; empty where all are."""
    reasons = []
    if uncounted:
        reasons.append(f"{uncounted:,} {'record' if uncounted == 1 else 'records'} could not be counted")
    if dropped:
        reasons.append(f"the recorder dropped {dropped:,} {'frame' if dropped == 1 else 'frames'}")
    if unrecorded and not dropped:
        reasons.append("for a time not everything was recorded")
    return f"the load is at least what is said: {' and '.join(reasons)}" if reasons else ""


def peak_below_mean(bus: Mapping[str, object]) -> str:
    """Why the fullest second has plainly less load than the mean; empty where it has not."""
    mean, peak = bus["load_mean_recorded_percent"], bus["load_peak_recorded_percent"]
    if mean is None or peak is None or _number(peak) >= _PLAINLY_BELOW * _number(mean):
        return ""
    return "the fullest second is below the mean: the mean also holds the parts of seconds at the ends of the recording"


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else 0.0
