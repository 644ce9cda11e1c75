"""Tallies as the JSON of `survey`: what a program reads. Times are seconds from the first stamp of the recording."""

from __future__ import annotations

from benchcheck.traffic.bus_tally import (
    SECOND_NS,
    SILENCE_RULE,
    STEP_RULE,
    WINDOW_NS,
    BusTally,
    IdKey,
    WindowBits,
)
from benchcheck.traffic.line_tally import LineTally
from benchcheck.traffic.source_tally import SourceTally
from benchcheck.traffic.traffic_tally import TrafficTally

Json = dict[str, object]

RULES: Json = {
    "wire_bits": "start of frame through the 3 bits of intermission, stuff bits included; error frames have none",
    "load_mean_percent": "bits of all frames over first to last stamp of the recording, over the bit rate",
    "load_peak_percent": "the fullest whole one-second window; windows start at the first stamp of the recording",
    "load_mean_recorded_percent": "the same with clock steps taken out of the time",
    "load_peak_recorded_percent": "the same without windows that a clock step reaches over",
    "gaps": SILENCE_RULE,
    "clock_steps": STEP_RULE,
    "max_gap_s": "between two frames of the identifier, silences of the whole bus included, clock steps not",
    "types": "whatever has the form of a sentence, its checksum right or not; lines of a text protocol that are all printable",
    "types_sound": "of these, the ones with a good checksum or none at all",
}


def seconds(nanoseconds: int) -> float:
    """Seconds, to the nanosecond."""
    return round(nanoseconds / SECOND_NS, 9)


def recorded_ns(tally: TrafficTally, bus: BusTally) -> int:
    """First to last stamp of the recording with the clock steps seen on `bus` taken out."""
    if tally.first_ns is None or tally.last_ns is None:
        return 0
    return tally.last_ns - tally.first_ns - sum(step.step_ns for step in bus.clock_steps)


def duration_json(tally: TrafficTally) -> Json:
    """`duration_s` (null unless the last stamp lies after the first) and `recorded_s`, by the bus with most frames."""
    if tally.first_ns is None or tally.last_ns is None:
        return {"duration_s": None, "recorded_s": None}
    span = tally.last_ns - tally.first_ns
    fullest = max(tally.buses.values(), key=lambda bus: bus.records)
    return {
        "duration_s": seconds(span) if span > 0 else None,
        "recorded_s": seconds(max(0, recorded_ns(tally, fullest))),
    }


def steps_json(tally: TrafficTally, names: dict[int, str]) -> list[Json]:
    """The clock steps of all buses, with the bus each was seen on."""
    return [
        {**step, "bus": names[number]}
        for number, bus in tally.buses.items()
        for step in _steps(bus, tally.origin_ns or 0)
    ]


def bus_json(tally: TrafficTally, number: int, name: str, bitrate: int, data_bitrate: int | None) -> Json:
    """One entry of `buses[]`. Load is null where time or the data bit rate of FD frames is not known."""
    bus = tally.buses[number]
    origin = tally.origin_ns or 0
    span = (tally.last_ns or 0) - (tally.first_ns or 0)
    total = WindowBits(bus.nominal_bits, bus.data_rate_bits)
    whole = ((tally.latest_ns or 0) - origin) // WINDOW_NS
    peak, peak_at = _peak(bus, whole, bitrate, data_bitrate, set())
    calm, _ = _peak(bus, whole, bitrate, data_bitrate, _stepped_windows(bus)) if bus.clock_steps else (peak, peak_at)
    return {
        "name": name,
        "bitrate": bitrate,
        "data_bitrate": data_bitrate,
        "frames": bus.frames,
        "error_frames": bus.error_frames,
        "wire_bits": bus.wire_bits,
        "wire_bits_at_data_bitrate": bus.data_rate_bits,
        "load_mean_percent": load_percent(total, span, bitrate, data_bitrate),
        "load_mean_recorded_percent": load_percent(total, recorded_ns(tally, bus), bitrate, data_bitrate),
        "load_peak_percent": peak,
        "load_peak_recorded_percent": calm,
        "peak_window_s": seconds(WINDOW_NS),
        "peak_at_s": peak_at,
        "gap_at_least_s": seconds(bus.silence_threshold_ns()),
        "gaps": [
            {"start_s": seconds(gap.start_ns - origin), "length_s": seconds(gap.length_ns)} for gap in bus.silences()
        ],
        "clock_steps": _steps(bus, origin),
        "ids": [_id(key, bus.ids[key], origin) for key in sorted(bus.ids, key=lambda key: (key.extended, key.can_id))],
    }


def line_json(name: str, line: LineTally) -> Json:
    """One entry of `lines[]`."""
    return {
        "name": name,
        "protocol": line.protocol,
        "bytes": line.bytes,
        "sentences": {
            "good": line.good,
            "bad_checksum": line.bad_checksum,
            "no_checksum": line.no_checksum,
            "other": line.other,
        },
        "over_long": line.over_long,
        "printable_percent": None if line.printable_share is None else round(100 * line.printable_share, 3),
        "types": {kind: line.types[kind].count for kind in sorted(line.types)},
        "types_sound": {kind: line.types[kind].sound for kind in sorted(line.types) if line.types[kind].sound},
    }


def load_percent(bits: WindowBits, span_ns: int, bitrate: int, data_bitrate: int | None) -> float | None:
    """Share of `span_ns` that the bits take on the wire, in percent; None where it can't be told."""
    if span_ns <= 0 or (bits.data and not data_bitrate):
        return None
    fast = data_bitrate or 1
    return round(100 * SECOND_NS * (bits.nominal * fast + bits.data * bitrate) / (span_ns * bitrate * fast), 6)


def load_by_second(tally: TrafficTally, number: int, bitrate: int) -> list[float]:
    """Load in percent of each whole second of a listening, from its first stamp; frames at one bit rate only."""
    bus = tally.buses[number]
    whole = ((tally.latest_ns or 0) - (tally.origin_ns or 0)) // WINDOW_NS
    return [round(100 * bus.windows.get(index, WindowBits(0, 0)).nominal / bitrate, 3) for index in range(whole)]


def _peak(
    bus: BusTally, whole: int, bitrate: int, data_bitrate: int | None, left_out: set[int]
) -> tuple[float | None, float | None]:
    fast = data_bitrate or 1
    best: tuple[int, int] | None = None
    for index, bits in bus.windows.items():
        if 0 <= index < whole and index not in left_out:
            if bits.data and not data_bitrate:
                return None, None
            weight = bits.nominal * fast + bits.data * bitrate
            if best is None or (weight, -index) > best:
                best = (weight, -index)
    if best is None:
        # whole windows without a frame are windows all the same; no whole window at all is no answer
        return (0.0, None) if whole > len(left_out) else (None, None)
    return round(100 * best[0] / (bitrate * fast), 6), seconds(-best[1] * WINDOW_NS)


def _stepped_windows(bus: BusTally) -> set[int]:
    """Windows with frames that a clock step begins in, ends in or reaches over: their second was not recorded once."""
    found: set[int] = set()
    for step in bus.clock_steps:
        ends = sorted((step.at_ns, step.at_ns + step.step_ns))
        low, high = ((end - bus.origin_ns) // WINDOW_NS for end in ends)
        found |= {index for index in bus.windows if low <= index <= high}
    return found


def _steps(bus: BusTally, origin: int) -> list[Json]:
    return [{"at_s": seconds(step.at_ns - origin), "step_s": seconds(step.step_ns)} for step in bus.clock_steps]


def _id(key: IdKey, source: SourceTally, origin: int) -> Json:
    mean = source.mean_period_ns()
    return {
        "id": key.text,
        "extended": key.extended,
        "count": source.count,
        "wire_bits": source.wire_bits,
        "first_s": seconds(source.first_ns - origin),
        "last_s": seconds(source.last_ns - origin),
        "mean_period_s": None if mean is None else round(mean[0] / (mean[1] * SECOND_NS), 9),
        "min_gap_s": None if source.min_gap_ns is None else seconds(source.min_gap_ns),
        "max_gap_s": None if source.max_gap_ns is None else seconds(source.max_gap_ns),
        "max_gap_at_s": None if source.max_gap_at_ns is None else seconds(source.max_gap_at_ns - origin),
    }
