"""Gaps of the recorder in a survey: whose they are, and which silences are theirs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchcheck.capture.recording import Recording
    from benchcheck.words.recorder_gap import RecorderGap

    Json = dict[str, object]

_MOST_LISTED = 1000


def gaps_of_bus(recording: Recording, name: str) -> list[RecorderGap]:
    return [gap for gap in recording.recorder_gaps if gap.is_of_bus(name)]


def gaps_of_line(recording: Recording, name: str) -> list[RecorderGap]:
    return [gap for gap in recording.recorder_gaps if gap.is_of_line(name)]


def gaps_json(recording: Recording, origin_ns: int) -> list[Json]:
    """The `recorder_gaps` of a survey, the first thousand."""
    from benchcheck.traffic.summary import seconds

    return [
        {
            "start_s": seconds(gap.start_ns - origin_ns),
            "length_s": seconds(gap.end_ns - gap.start_ns),
            "bus": gap.bus or None,
            "line": gap.line or None,
            "dropped": gap.dropped,
            "why": gap.why,
        }
        for gap in recording.recorder_gaps[:_MOST_LISTED]
    ]


def flag_recorders(entry: dict[str, Any], gaps: Sequence[RecorderGap], origin_ns: int) -> None:
    """Say of each silence of a bus or a line (`gaps[]`) whether it is one because of the recorder."""
    from benchcheck.traffic.presence.quiet_times import recorded_not
    from benchcheck.traffic.tallies.pieces import SECOND_NS

    missed = recorded_not(gaps)
    for gap in entry["gaps"]:
        start_ns = origin_ns + round(gap["start_s"] * SECOND_NS)
        length_ns = round(gap["length_s"] * SECOND_NS)
        lost_ns = missed.within(start_ns, start_ns + length_ns)
        gap["of_recorder"] = lost_ns > 0 and length_ns - lost_ns < round(entry["gap_at_least_s"] * SECOND_NS)


def unrecorded_lines(recording: Recording) -> dict[str, float]:
    """By line, how many seconds of it were not recorded; those of which all was are left out."""
    from benchcheck.traffic.presence.quiet_times import recorded_not
    from benchcheck.traffic.tallies.pieces import SECOND_NS

    found = {}
    for line in recording.lines:
        lost_ns = recorded_not(gaps_of_line(recording, line.name)).total_ns
        if lost_ns:
            found[line.name] = lost_ns / SECOND_NS
    return found
