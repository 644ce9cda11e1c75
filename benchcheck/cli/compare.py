"""`benchcheck compare A B`: what changed between two recordings of one bench, by how much it matters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchcheck.cli.output import output_options, print_json
from benchcheck.cli.profile_named import profile_named
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchcheck.cli.survey_run import Survey
    from benchcheck.harness.model import Harness
    from benchcheck.traffic.changes.changes import Comparison
    from benchcheck.traffic.changes.seen import Seen

    Json = dict[str, Any]

SCHEMA = "benchcheck.compare/1"

Rates = tuple[int | None, int | None]  # as asked for on the command line: bit rate and data bit rate


@click.command(
    epilog="""\b
Examples:
  benchcheck compare captures/launch_good.pcapng captures/launch_faults.pcapng
  benchcheck compare monday.pcapng friday.pcapng --profile profiles/survey_launch
  benchcheck compare before.log after.log --bitrate 250000 --json

\b
Exit codes: 0 nothing grave changed, 1 something grave did, 2 bad input,
4 it can't be told: too short, frames missing, or nothing in common."""
)
@click.argument("a", type=click.Path(path_type=Path))
@click.argument("b", type=click.Path(path_type=Path))
@click.option("--bitrate", type=click.IntRange(1_000, 8_000_000), metavar="N", help="Bit rate of the CAN buses, bit/s.")
@click.option(
    "--data-bitrate", type=click.IntRange(1_000, 8_000_000), metavar="N", help="Second rate of FD frames, bit/s."
)
@click.option(
    "--line", metavar="PROTOCOL", help="A and B hold the raw bytes of a line: nmea0183, text, or one of the profile's."
)
@click.option("--profile", metavar="PROFILE", help="Name the units, and judge who is there, by this profile.")
@output_options
def command(
    a: Path,
    b: Path,
    bitrate: int | None,
    data_bitrate: int | None,
    line: str | None,
    profile: str | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Compare two recordings of the same bench: A is the earlier or good one, B the one that is looked at.

    Told are units and identifiers that are gone or new, error frames, load, gaps, periods and jitter beyond their own
    scatter, data out of the earlier range, and lines: the gravest first. The rules stand in the JSON (`rules`).
    """
    from benchcheck.traffic.changes.changes import compare

    harness = None if profile is None else profile_named(profile)[0]
    from benchcheck.cli.line_option import check_line

    if line is not None and bitrate is not None:
        raise UsageError("--line is for the raw bytes of a line, --bitrate for a CAN bus", hint="Give one of them.")
    check_line(line, harness)
    before = _seen(a, harness, (bitrate, data_bitrate), line)
    after = _seen(b, harness, (bitrate, data_bitrate), line)
    found = compare(before, after)
    if as_json:
        print_json(_document(a, b, before, after, harness, found))
    else:
        for text in _plain(found) if plain else _lines(a, b, before, after, found):
            click.echo(text)
    return {"PASS": ExitCode.PASS, "FAIL": ExitCode.FAIL}.get(found.outcome.value, ExitCode.UNSURE)


def _seen(path: Path, harness: Harness | None, rates: Rates, line: str | None) -> Seen:
    """Read one recording as a survey reads it, and its traits on the way."""
    from benchcheck.capture.logs import is_capture, open_line, open_recording
    from benchcheck.cli.survey_run import Survey
    from benchcheck.traffic.changes.traits import Traits
    from benchcheck.traffic.tallies.traffic_tally import TrafficTally
    from benchcheck.words.frames import FrameBatch

    traits = Traits()

    class WithTraits(TrafficTally):
        def update(self, batch: FrameBatch) -> None:
            super().update(batch)
            traits.update(batch)

    raw = line is not None and not is_capture(path)
    with open_line(path, line or "") if raw else open_recording(path, gathered=True) as recording:
        # periods and values need no bit rate: the load is reckoned below where it is known
        survey = Survey(recording, harness, *rates, line, no_load=True)
        survey.signals.want_all()
        survey.tally = WithTraits()
        survey.read()
    return _made_seen(survey, path, traits, harness, rates)


def _made_seen(survey: Survey, path: Path, traits: Any, harness: Harness | None, rates: Rates) -> Seen:
    from benchcheck.traffic.changes.seen import BusSeen, Judged, LineSeen, Seen, spread_of
    from benchcheck.traffic.changes.traits import BusTraits
    from benchcheck.traffic.presence.expectations import known_on_bus
    from benchcheck.traffic.summary import load_by_second

    recording = survey.recording
    document: Json = survey.document(path)
    entries = {bus["name"]: bus for bus in document["buses"]}
    recorded_s = float(document["recorded_s"] or 0.0)
    buses: dict[str, BusSeen] = {}
    for number, info in enumerate(recording.buses):
        entry = entries.get(info.name)
        known = survey.profile_bus(number)
        rate = rates[0] or info.bitrate or (None if known is None else known.bitrate)
        loads: list[float] = []
        data_rate = rates[1] or info.data_bitrate or (None if known is None else known.data_bitrate)
        if entry and rate and not document["clock_steps"]:
            loads = load_by_second(survey.tally, number, rate, data_rate)
        gaps = [gap["length_s"] for gap in entry["gaps"]] if entry else []
        of_bus = None if known is None else known_on_bus(known)
        traits_of_bus = traits.buses.get(number) or BusTraits()
        buses[info.name] = BusSeen(
            frames=entry["frames"] if entry else 0,
            error_frames=entry["error_frames"] if entry else 0,
            recorded_s=max(0.0, recorded_s - sum(gaps)),
            load=spread_of(loads),
            traits=traits_of_bus,
            slow=bool(entry) and entries[info.name]["gap_at_least_s"] > 0.3,
            silences=sum(not gap["of_recorder"] for gap in entry["gaps"]) if entry else 0,
            max_load_percent=None if known is None else known.max_load_percent,
            sender_of={key: of_bus.sender(key) for key in traits_of_bus.senders} if of_bus is not None else {},
            on_occasion=of_bus.on_occasion if of_bus is not None else frozenset(),
            signals=survey.signals.seen(known, survey.tally.buses.get(number)) if known is not None else {},
        )
    lines = {info.name: LineSeen(0, 0, 0, {}) for info in recording.lines}
    for number, tally in survey.lines.items():
        sound = {kind: entry.sound for kind, entry in tally.types.items() if entry.sound}
        lines[recording.lines[number].name] = LineSeen(
            tally.bytes, tally.understood, tally.bad_checksum + tally.other, sound
        )
    return Seen(
        recorded_s,
        bool(
            recording.dropped_frames
            or recording.recorder_gaps
            or recording.bad_records - (1 if recording.truncated else 0)
        ),
        buses,
        lines,
        {
            (bus, unit.unit): Judged(unit.verdict, unit.state.value, unit.text)
            for bus, unit in survey.units
            if unit.state.value != "unexpected"
        },
        {
            f"{talk.link}:{talk.sender}": Judged(talk.verdict, talk.state.value, talk.text)
            for talk in (survey.talks if recording.lines else [])
        },
        {
            (verdict.expected.bus, verdict.expected.name): Judged(verdict.outcome, verdict.state, verdict.text)
            for verdict in survey.signals.verdicts
        },
    )


def _document(a: Path, b: Path, before: Seen, after: Seen, harness: Harness | None, found: Comparison) -> Json:
    from benchcheck.traffic.changes import changes

    return {
        "schema": SCHEMA,
        "before": _side(a, before),
        "after": _side(b, after),
        "profile": None if harness is None else harness.name,
        "verdict": found.outcome.value,
        "comparable": found.worth.value,
        "changes": [
            {
                "grade": change.grade.value,
                "kind": change.kind.value,
                "what": change.what,
                "where": change.where,
                "before": change.was,
                "after": change.is_now,
                "text": change.text,
            }
            for change in found.changes
        ],
        "rules": changes.__doc__,
    }


def _side(path: Path, seen: Seen) -> Json:
    return {
        "file": path.name,
        "recorded_s": seen.recorded_s,
        "frames": sum(bus.frames for bus in seen.buses.values()),
        "frames_missing": seen.frames_missing,
    }


def _lines(a: Path, b: Path, before: Seen, after: Seen, found: Comparison) -> Iterator[str]:
    from textwrap import wrap

    from benchcheck.cli.survey_text import escaped
    from benchcheck.traffic.changes.changes import Worth

    for word, path, seen in (("before", a, before), ("now", b, after)):
        frames = sum(bus.frames for bus in seen.buses.values())
        missing = "; frames are missing" if seen.frames_missing else ""
        yield f"{word + ':':<8}{escaped(path.name)}, {seen.recorded_s:.3f} s, {frames:,} frames{missing}"
    grade = ""
    for change in found.changes:
        if change.grade.value != grade:
            grade = change.grade.value
            count = sum(other.grade is change.grade for other in found.changes)
            yield ""
            yield f"{grade}: {count}"
        yield from wrap(escaped(change.text), 110, initial_indent="  ", subsequent_indent="      ")
    yield ""
    if not found.changes:
        yield "nothing changed beyond its own scatter"
    if found.worth is Worth.TOO_SHORT:
        yield "too short to compare: no identifier came often enough in both, and no line was understood in the first"
    elif found.worth is Worth.NOTHING:
        yield "nothing in common that could be compared"
    yield found.outcome.value


def _plain(found: Comparison) -> Iterator[str]:
    """A line a change, columns parted by tabs; the verdict last."""
    from benchcheck.cli.survey_text import escaped

    for change in found.changes:
        cells = (change.grade.value, change.kind.value, change.where, change.what, change.text)
        yield "\t".join(escaped(cell) for cell in cells)
    yield f"{found.outcome.value}\t{found.worth.value}"
