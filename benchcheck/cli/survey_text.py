"""The survey for a person: short tables out of the JSON of `benchcheck survey`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from benchcheck.words.quantity import counted

Json = Mapping[str, Any]

_MOST_SILENCES = 20  # of a line, and gaps of the recorder: the JSON has all


def escaped(text: str) -> str:
    """Text from a recording as it may be shown: what could steer a terminal is written out."""
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode("ascii") for char in text)


def survey_lines(document: Json) -> Iterator[str]:
    """The lines to print, the most telling first."""
    yield from _head(document)
    for bus in document["buses"]:
        yield ""
        yield from _bus(bus)
    for line in document["lines"]:
        yield ""
        yield from _line(line)
    if "units" in document:
        yield ""
        yield from _units(document["units"], escaped(document["profile"]))
    if document.get("talks"):
        yield ""
        yield from _talks(document["talks"], escaped(document["profile"]))
    if document.get("signals"):
        yield ""
        yield from _signals(document["signals"])


def _head(document: Json) -> Iterator[str]:
    parts = [counted(document["frames"], "frame")]
    if document["error_frames"]:
        parts.append(counted(document["error_frames"], "error frame"))
    if document["recorded_s"]:
        parts.append(f"{document['recorded_s']:.3f} s")
    if not document["buses"]:
        parts = [counted(sum(line["bytes"] for line in document["lines"]), "byte")]
    yield f"{escaped(document['file'])}: {', '.join(parts)}"
    if document["bad_records"]:
        were = "was" if document["bad_records"] == 1 else "were"
        yield f"  warning: {counted(document['bad_records'], 'bad record')} {were} passed over"
    if document["dropped_frames"]:
        yield f"  warning: the recorder dropped {counted(document['dropped_frames'], 'frame')}"
    yield from _recorder_gaps(document["recorder_gaps"])
    if document["clock_steps"]:
        yield "  warning: the recorder's clock stepped; time and load below are with the steps taken out"
    for note in document["notes"]:
        yield f"  note: {escaped(note)}"


def _bus(bus: Json) -> Iterator[str]:
    rate = "bit rate not known" if bus["bitrate"] is None else f"{bus['bitrate']:,} bit/s"
    yield f"bus {escaped(bus['name'])}, {rate}: {counted(bus['frames'], 'frame')}, {counted(bus['wire_bits'], 'bit')}"
    yield f"  {_load(bus)}"
    if bus["error_frames"]:
        yield f"  {counted(bus['error_frames'], 'error frame')}"
    for step in bus["clock_steps"]:
        yield f"  clock step of {step['step_s']:+.3f} s after {step['at_s']:.3f} s"
    if bus["gaps"]:
        yield f"  silences of the whole bus, {bus['gap_at_least_s']:g} s and longer: {len(bus['gaps'])}{' (the longest; more were left out)' if bus['gaps_left_out'] else ''}"
        for gap in bus["gaps"]:
            yield _silence(gap)
    if bus["ids"]:
        yield f"  {'identifier':<10} {'frames':>9} {'mean period':>13} {'longest gap':>13} {'at':>13}"
    for entry in bus["ids"]:
        yield (
            f"  {entry['id']:<10} {entry['count']:>9,} {_seconds(entry['mean_period_s'], 4):>13}"
            f" {_seconds(entry['max_gap_s'], 3):>13} {_seconds(entry['max_gap_at_s'], 3):>13}"
        )


def _line(line: Json) -> Iterator[str]:
    found = line["sentences"]
    yield f"line {escaped(line['name'])}, {escaped(line['protocol'])}: {counted(line['bytes'], 'byte')}"
    if line["protocol"] == "text":
        yield f"  lines: {found['no_checksum']:,} printable, {found['other']:,} garbled"
    else:
        yield (
            f"  sentences: {found['good']:,} good, {found['bad_checksum']:,} bad checksum, "
            f"{found['no_checksum']:,} no checksum; {found['other']:,} other"
        )
    if line["begins"] and not line["types_sound"]:
        yield f"  begins {escaped(line['begins'])}"
    for kind, count in line["types"].items():
        yield f"    {kind:<12} {count:>9,}"
    if line["framing_errors"] is not None:
        yield f"  {counted(line['framing_errors'], 'framing error')}"
    if line["gaps"]:
        yield f"  silences of the line, {line['gap_at_least_s']:g} s and longer: {len(line['gaps'])}"
    longest = sorted(line["gaps"], key=lambda gap: -gap["length_s"])[:_MOST_SILENCES]
    for gap in sorted(longest, key=lambda gap: gap["start_s"]):
        yield _silence(gap)


def _silence(gap: Json) -> str:
    whose = "; the recorder's" if gap["of_recorder"] else ""
    return f"    {gap['length_s']:9.3f} s from {gap['start_s']:.3f} s on{whose}"


def _recorder_gaps(gaps: Sequence[Json]) -> Iterator[str]:
    for gap in gaps[:_MOST_SILENCES]:
        whose = f" of {gap['bus'] or gap['line']}" if gap["bus"] or gap["line"] else ""
        told = f": {gap['why']}" if gap["why"] else ""
        yield escaped(
            f"  warning: not everything{whose} was recorded for {gap['length_s']:.3f} s from {gap['start_s']:.3f} s on{told}"
        )
    if len(gaps) > _MOST_SILENCES:
        yield f"  warning: ... and at {len(gaps) - _MOST_SILENCES:,} more times"


def _units(units: Sequence[Json], profile: str) -> Iterator[str]:
    yield f"units, by the profile {profile}"
    for unit in units:
        yield f"  {unit['verdict']:<7} {escaped(unit['unit']):<12} {unit['state'] or '?':<13} {escaped(unit['text'])}"


def _talks(talks: Sequence[Json], profile: str) -> Iterator[str]:
    yield f"talks of the links, by the profile {profile}"
    for talk in talks:
        name = escaped(f"{talk['link']}:{talk['sender']}")
        yield f"  {talk['verdict']:<7} {name:<20} {talk['state']:<13} {escaped(talk['text'])}"


def _load(bus: Json) -> str:
    """One sentence about the load, with the clock's cuts taken out."""
    mean, peak = bus["load_mean_recorded_percent"], bus["load_peak_recorded_percent"]
    if mean is None and peak is None:
        return "load not known"
    least = "at least " if bus["load_is_lower_bound"] else ""
    parts = [] if mean is None else [f"{least}{mean:.2f} % mean"]
    if peak is None:
        parts.append("no whole second to tell the fullest one")
    else:
        at = "" if bus["peak_recorded_at_s"] is None else f" (from {bus['peak_recorded_at_s']:.0f} s on)"
        parts.append(f"{least}{peak:.2f} % in the fullest second{at}")
    return f"load {', '.join(parts)}"


def _seconds(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:.{digits}f} s"


def _signals(signals: Sequence[Json]) -> Iterator[str]:
    yield "signals"
    yield f"  {'signal':<32} {'frames':>9} {'lowest':>14} {'highest':>14} {'changes':>9} {'longest still':>14}"
    for entry in signals:
        unit = escaped(entry["unit"])
        low, high = (_plain_value(entry[key]) for key in ("low", "high"))
        still = "-" if entry["longest_still_s"] is None else f"{entry['longest_still_s']:.3f} s"
        changes = "-" if entry["changes"] is None else f"{entry['changes']:,}"
        yield (
            f"  {escaped(entry['signal']):<32} {entry['frames']:>9,} {low:>14} {high:>14} {changes:>9} {still:>14} {unit}"
        ).rstrip()
        if entry["too_short"]:
            were = "was" if entry["too_short"] == 1 else "were"
            yield f"    {counted(entry['too_short'], 'frame')} {were} too short to have it"
        if entry["verdict"] is not None:
            yield f"    {entry['verdict']:<7} {escaped(entry['text'])}"


def _plain_value(value: float | None) -> str:
    return "-" if value is None else f"{value:.8g}"
