"""Tallies as the JSON of `survey`: what a program reads. Times are seconds from the first stamp of the recording."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from benchcheck.traffic.lines.line_silences import LINE_SILENCE_RULE
from benchcheck.traffic.lines.line_tally import LineTally, TypeTally
from benchcheck.traffic.lines.shown_bytes import shown_bytes
from benchcheck.traffic.presence.unit_presence import UnitPresence
from benchcheck.traffic.tallies.bus_tally import SILENCE_RULE, STEP_RULE, BusTally
from benchcheck.traffic.tallies.error_tally import CLASSES, ErrorTally
from benchcheck.traffic.tallies.payload_table import PayloadTally
from benchcheck.traffic.tallies.pieces import SECOND_NS, WINDOW_NS, PieceSums, PieceWindow, WindowBits
from benchcheck.traffic.tallies.source_tally import SourceTally
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import IdKey

Json = dict[str, object]

MOST_PAUSES = 50
MOST_SECONDS = 86_400
"""Of a listening the load of no more seconds is listed, each by itself."""

RULES: Json = {
    "wire_bits": "start of frame through the 3 bits of intermission, stuff bits included; error frames have none",
    "load_mean_percent": "bits of all frames over first to last stamp of the recording, over the bit rate",
    "load_peak_percent": "the fullest whole one-second window; windows start at the first stamp of the recording",
    "recorded_s": "the time that was really recorded: the sum of the pieces between cuts, first to last stamp of each; of "
    "several buses the longest sum",
    "cuts": "clock steps, and forward intervals beside a stamp that went back which make up for it: a single wrong stamp",
    "load_mean_recorded_percent": "bits of all frames over the sum of the pieces of the bus; the same as "
    "load_mean_percent where no bus has a cut",
    "load_peak_recorded_percent": "the fullest whole one-second window of any piece; windows start at the first stamp of "
    "each piece; null where no piece has a whole second. Never below the load of all whole windows together, which is "
    "not the mean: that holds the ends of the pieces too. The same as load_peak_percent where no bus has a cut",
    "load_is_lower_bound": "whether frames are known to be missing, or records could not be counted",
    "gaps": SILENCE_RULE,
    "clock_steps": STEP_RULE,
    "max_gap_s": "between two frames of the identifier, silences of the whole bus included, clock steps not",
    "deviation_s": "standard deviation of the intervals between two frames of the identifier, clock steps left out",
    "median_interval_s": "half of the intervals are no longer; told by bins, so right to 3.2 % on either side; p95_interval_s "
    "and p99_interval_s likewise for 95 and 99 % of them",
    "data_changes": "how many frames of the identifier had other data, or another length, than the one before; remote "
    "frames, which have no data, left out",
    "constant_mask": "hex, two digits for each data byte that all frames of the identifier have: the bits that never changed",
    "errors": "error frames by class (one may have several), of unknown class, controller overflows, the highest error "
    "counters met, and the states the controller told of, each from when on; the last state lasts until another is told",
    "pauses": "gaps that are charged to the unit: which identifier, from when on, how long; at most 50 are listed",
    "owner": "of an identifier that has, or may have, a second sender: the unit whose it is; null in every other entry",
    "boot_s": "from power-on to the first message of the unit; null where the recording doesn't tell",
    "types": "whatever has the form of a sentence, its checksum right or not; lines of a text protocol that are all printable",
    "types_sound": "of these, the ones with a good checksum or none at all",
    "type_times": "first and last time of each type, and the longest time between two of them, to the stamp of the bytes "
    "that ended the sentence; from the first bytes of the line on",
    "framing_errors": "as told by the serial port; null where it can't tell",
    "line_gaps": LINE_SILENCE_RULE,
    "recorder_gaps": "when the recorder is known not to have recorded everything: by its marks, by a count of dropped frames "
    "that grew from one count to the next, by parts that are missing or damaged; what a unit did not send then is not "
    "charged to it",
    "of_recorder": "whether a silence is none of the bus or line, because not everything was recorded meanwhile",
    "busiest_second_bytes": "the most bytes of the line in one second; seconds start at its first bytes",
}


def seconds(nanoseconds: int) -> float:
    """Seconds, to the nanosecond."""
    return round(nanoseconds / SECOND_NS, 9)


def duration_json(tally: TrafficTally) -> Json:
    """`duration_s` (null unless the last stamp lies after the first) and `recorded_s`, with the cuts taken out."""
    if tally.first_ns is None or tally.last_ns is None:
        return {"duration_s": None, "recorded_s": None}
    span = tally.last_ns - tally.first_ns
    pieces = [bus.pieces.sums() for bus in tally.buses.values()]
    recorded = max(sums.span_ns for sums in pieces) if _is_cut(pieces) else _uncut_ns(tally)
    return {"duration_s": seconds(span) if span > 0 else None, "recorded_s": seconds(recorded)}


def _is_cut(pieces: Iterable[PieceSums]) -> bool:
    return any(sums.cuts for sums in pieces)


def _uncut_ns(tally: TrafficTally) -> int:
    """First to last stamp of a recording without cuts; its buses may come one after the other in the file."""
    buses = tally.buses.values()
    return max(bus.last_ns for bus in buses) - min(bus.first_ns for bus in buses)


def steps_json(tally: TrafficTally, names: dict[int, str]) -> list[Json]:
    """The clock steps of all buses, with the bus each was seen on."""
    return [
        {**step, "bus": names[number]}
        for number, bus in tally.buses.items()
        for step in _steps(bus, tally.origin_ns or 0)
    ]


def bus_json(tally: TrafficTally, number: int, name: str, bitrate: int | None, data_bitrate: int | None) -> Json:
    """One entry of `buses[]`. Load is null where time, the bit rate or the data bit rate of FD frames is not known."""
    bus = tally.buses[number]
    ids = bus.ids
    origin = tally.origin_ns or 0
    span = (tally.last_ns or 0) - (tally.first_ns or 0)
    total = WindowBits(bus.nominal_bits, bus.data_rate_bits)
    whole = ((tally.latest_ns or 0) - origin) // WINDOW_NS
    peak, peak_at = _peak(bus, whole, bitrate, data_bitrate)
    pieces = bus.pieces.sums()
    if _is_cut(other.pieces.sums() for other in tally.buses.values()):
        recorded = pieces.span_ns
        calm, calm_ns = _recorded_peak(pieces, bitrate, data_bitrate)
        calm_at = None if calm_ns is None else seconds(calm_ns - origin)
    else:
        recorded, calm, calm_at = _uncut_ns(tally), peak, peak_at
    return {
        "name": name,
        "bitrate": bitrate,
        "data_bitrate": data_bitrate,
        "frames": bus.frames,
        "error_frames": bus.error_frames,
        "wire_bits": bus.wire_bits,
        "wire_bits_at_data_bitrate": bus.data_rate_bits,
        "load_mean_percent": load_percent(total, span, bitrate, data_bitrate),
        "load_mean_recorded_percent": load_percent(total, recorded, bitrate, data_bitrate),
        "load_peak_percent": peak,
        "load_peak_recorded_percent": calm,
        "peak_window_s": seconds(WINDOW_NS),
        "peak_at_s": peak_at,
        "peak_recorded_at_s": calm_at,
        "pieces": pieces.cuts + 1,
        "gap_at_least_s": seconds(bus.silence_threshold_ns()),
        "gaps": [
            {"start_s": seconds(gap.start_ns - origin), "length_s": seconds(gap.length_ns)} for gap in bus.silences()
        ],
        "gaps_left_out": bus.silences_left_out(),
        "clock_steps": _steps(bus, origin),
        "errors": _errors(bus.errors, origin),
        "ids": [
            {**_id(key, ids[key], origin), **_payload(bus.payload(key))}
            for key in sorted(ids, key=lambda key: (key.extended, key.can_id))
        ],
    }


def line_json(name: str, line: LineTally) -> Json:
    """One entry of `lines[]`."""
    return {
        "name": name,
        "protocol": line.protocol,
        "bytes": line.bytes,
        "begins": shown_bytes(line.begins),
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
        "type_times": {kind: _type_times(line.types[kind], line.first_ns or 0) for kind in sorted(line.types)},
        "framing_errors": line.framing_errors,
        "gap_at_least_s": seconds(line.silence_threshold_ns),
        "gaps": [
            {"start_s": seconds(gap.start_ns - (line.first_ns or 0)), "length_s": seconds(gap.length_ns)}
            for gap in line.silences()
        ],
        "busiest_second_bytes": None if line.busiest_second is None else line.busiest_second[1],
    }


def _type_times(found: TypeTally, origin_ns: int) -> Json:
    return {
        "first_s": seconds(found.first_ns - origin_ns),
        "last_s": seconds(found.last_ns - origin_ns),
        "max_gap_s": None if found.max_gap_ns is None else seconds(found.max_gap_ns),
    }


def load_percent(bits: WindowBits, span_ns: int, bitrate: int | None, data_bitrate: int | None) -> float | None:
    """Share of `span_ns` that the bits take on the wire, in percent; None where it can't be told."""
    if span_ns <= 0 or not bitrate or (bits.data and not data_bitrate):
        return None
    fast = data_bitrate or 1
    return round(100 * SECOND_NS * (bits.nominal * fast + bits.data * bitrate) / (span_ns * bitrate * fast), 6)


def load_by_second(
    tally: TrafficTally, number: int, bitrate: int, data_bitrate: int | None = None, *, most: int | None = None
) -> list[float]:
    """Load in percent of each whole second of a listening, from its first stamp; none where frames switch to a second
    bit rate that is not known. `most`: no more than so many; a clock that was set makes seconds without end."""
    bus = tally.buses[number]
    if bus.data_rate_bits and not data_bitrate:
        return []
    whole = max(0, ((tally.latest_ns or 0) - (tally.origin_ns or 0)) // WINDOW_NS)
    loads = [0.0] * (whole if most is None else min(whole, most))
    known: dict[tuple[int, int], float] = {}  # of a month there are millions, and few that differ
    for numbers, bits in bus.load_windows.pieces():
        for at, both in zip(numbers.tolist(), map(tuple, bits.tolist()), strict=True):
            if 0 <= at < len(loads):
                load = known.get(both)
                if load is None:
                    load = round(load_percent(WindowBits(*both), WINDOW_NS, bitrate, data_bitrate) or 0.0, 3)
                    known[both] = load
                loads[at] = load
    return loads


def _peak(
    bus: BusTally, whole: int, bitrate: int | None, data_bitrate: int | None
) -> tuple[float | None, float | None]:
    """(load in percent, start in seconds) of the fullest of the first `whole` windows."""
    windows: list[PieceWindow] = []
    best_bits = 0
    for numbers, bits in bus.load_windows.pieces():  # of a month there are millions
        inside = (numbers >= 0) & (numbers < whole)
        numbers, bits = numbers[inside], bits[inside]
        if bits[:, 1].any() and not data_bitrate:
            return None, None
        if not len(numbers):
            continue
        # exact: the bits of a second times a bit rate are far below 2**63
        by_rate = bits[:, 0] * (data_bitrate or 1) + bits[:, 1] * (bitrate or 0)
        best = int(by_rate.argmax())
        if not windows or int(by_rate[best]) > best_bits:
            best_bits = int(by_rate[best])
            windows = [PieceWindow(WindowBits(*bits[best].tolist()), int(numbers[best]) * WINDOW_NS)]
    load, start_ns = _fullest(windows, whole, bitrate, data_bitrate)
    return load, None if start_ns is None else seconds(start_ns)


def _recorded_peak(pieces: PieceSums, bitrate: int | None, data_bitrate: int | None) -> tuple[float | None, int | None]:
    """(load in percent, stamp) of the fullest whole window of all pieces."""
    if pieces.whole_bits.data and not data_bitrate:
        return None, None
    return _fullest(pieces.fullest, pieces.whole_windows, bitrate, data_bitrate)


def _fullest(
    windows: Sequence[PieceWindow], whole: int, bitrate: int | None, data_bitrate: int | None
) -> tuple[float | None, int | None]:
    """The first of the fullest windows. Whole windows without a frame are windows all the same: the load is 0 then."""
    if whole <= 0 or not bitrate or (not data_bitrate and any(window.bits.data for window in windows)):
        return None, None
    if not windows:
        return 0.0, None
    fast = data_bitrate or 1
    best = max(windows, key=lambda window: window.bits.nominal * fast + window.bits.data * bitrate)
    return load_percent(best.bits, WINDOW_NS, bitrate, data_bitrate), best.start_ns


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
        "deviation_s": _seconds_or_none(source.intervals.deviation_ns()),
        "median_interval_s": _seconds_or_none(source.intervals.quantile_ns(Fraction(1, 2))),
        "p95_interval_s": _seconds_or_none(source.intervals.quantile_ns(Fraction(95, 100))),
        "p99_interval_s": _seconds_or_none(source.intervals.quantile_ns(Fraction(99, 100))),
    }


def unit_json(bus: str, unit: UnitPresence, origin_ns: int) -> Json:
    """One entry of `units[]`."""
    return {
        "unit": unit.unit,
        "bus": bus,
        "owner": unit.owner or None,
        "verdict": unit.verdict.value,
        "state": unit.state.value,
        "first_s": None if unit.first_ns is None else seconds(unit.first_ns - origin_ns),
        "last_s": None if unit.last_ns is None else seconds(unit.last_ns - origin_ns),
        "max_gap_s": _seconds_or_none(unit.max_gap_ns),
        "boot_s": _seconds_or_none(unit.boot_ns),
        "pauses": [
            {
                "source": pause.source,
                "start_s": seconds(pause.start_ns - origin_ns),
                "length_s": seconds(pause.length_ns),
            }
            for pause in unit.pauses[:MOST_PAUSES]
        ],
        "text": unit.text,
    }


def _payload(payload: PayloadTally | None) -> Json:
    if payload is None:
        return {"data_changes": None, "constant_mask": None}
    return {"data_changes": payload.changes, "constant_mask": payload.constant_mask.hex().upper()}


def _errors(errors: ErrorTally, origin_ns: int) -> Json:
    return {
        "classes": {name: count for name, count in zip(CLASSES, errors.classes, strict=True) if count},
        "unknown": errors.unknown,
        "overflows": errors.overflows,
        "most_tx_errors": errors.most_tx_errors,
        "most_rx_errors": errors.most_rx_errors,
        "states": [{"at_s": seconds(at_ns - origin_ns), "state": state.value} for at_ns, state in errors.states],
    }


def _seconds_or_none(nanoseconds: int | None) -> float | None:
    return None if nanoseconds is None else seconds(nanoseconds)
