"""What a capture shows beside the budget: load, periods, and how late messages were met at least."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness

Json = dict[str, Any]

RESPONSE_RULE = (
    "the least that the longest response time met can have been, if the unit itself was in time: how far one interval of "
    "the message was below or above its period, and the frame itself without a stuff bit. When a message was due can't be "
    "heard, so the unit's own lateness and that of the recorder's stamps are in it. The period is the profile's or the "
    "mean that was measured, whichever makes less of it; intervals of 1.5 periods and more are left out (frames may be "
    "missing); null where the mean is 10 % off the profile's period, or the clock stepped"
)


def measured_of(capture: Path, harness: Harness) -> dict[str, Json]:
    """Bus name -> what the survey of the capture says of it."""
    from benchcheck.capture.logs import open_recording
    from benchcheck.cli.survey_run import Survey

    with open_recording(capture, gathered=True) as recording:
        survey = Survey(recording, harness, None, None, None)
        survey.read()
    document: Json = survey.document(capture)
    found = {bus["name"]: bus for bus in document["buses"]}
    if len(found) == len(harness.buses) == 1:  # the only bus of either, whatever the recorder called it
        return {harness.buses[0].name: next(iter(found.values()))}
    return found


def later_note(messages: Sequence[Json]) -> Iterator[str]:
    """Messages that were met later than the bus alone can make them."""
    later = []
    for message in messages:
        seen = (message["measured"] or {}).get("response_at_least_s")
        if seen is not None and message["response_s"] is not None and seen > message["response_s"]:
            later.append(message["id"])
    if later:
        yield (
            f"met later than the bus can make it at worst: {', '.join(later)}; their units put them in late themselves "
            "(--jitter reckons with that), or the recorder's stamps are late"
        )


def response_at_least_s(heard: Json, period_s: float | None, frame_ns: int) -> float | None:
    """See RESPONSE_RULE."""
    mean_s: float | None = heard["mean_period_s"]
    least_s: float | None = heard["min_gap_s"]
    most_s: float | None = heard["max_gap_s"]
    if period_s is None or mean_s is None or least_s is None or abs(mean_s - period_s) > 0.1 * period_s:
        return None
    late_s = min(mean_s, period_s) - least_s
    if most_s is not None and most_s < 1.5 * period_s:
        late_s = max(late_s, most_s - max(mean_s, period_s))
    return round(max(0.0, late_s) + frame_ns / 1e9, 9)
