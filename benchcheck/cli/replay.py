"""`benchcheck replay`: a capture judged again as the live run judged it, or its frames as they came."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.cli.profile_named import profile_named
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness
    from benchcheck.jobs.playing.frame_rows import Wanted
    from benchcheck.jobs.playing.playing import Onto, Playing
    from benchcheck.jobs.playing.replay import Part
    from benchcheck.traffic.tallies.watch import IdKey


@click.command(
    epilog="""\b
Examples:
  benchcheck replay captures/launch_good.pcapng --profile survey_launch
  benchcheck replay captures/launch_faults.pcapng --frames --from 2 --to 2.5 --id 0A0
  benchcheck replay captures/launch_good.pcapng --speed 2 --frames

\b
Verdicts are of whole buses and units: --bus and --unit choose which steps are judged, never what
is counted. --from and --to are seconds since the first record.

\b
While it plays at a terminal, keys are obeyed, and shown first: pause, step, seek, speed, quit. With
--plain, or where stdin is no terminal, the same as lines: pause, go, next, event, forward 10,
back 10, to 12.5, speed 2, faster, slower, quit, help.

\b
Exit codes: 0 every step PASS (playing: played), 1 a FAIL, 2 bad input, 3 the bus or the player
failed, 4 a step is UNSURE or was left out, or nothing is left to judge or to play."""
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--profile", metavar="PROFILE", help="Judge by this profile: a folder, or a name.")
@click.option("--from", "from_s", type=click.FloatRange(min=0), metavar="S", help="Begin at this second.")
@click.option("--to", "to_s", type=click.FloatRange(min=0), metavar="S", help="End before this second.")
@click.option("--bus", "buses", multiple=True, metavar="BUS", help="Only this bus; may be given again.")
@click.option("--unit", "units", multiple=True, metavar="UNIT", help="Only this unit (needs --profile).")
@click.option("--id", "ids", multiple=True, metavar="HEX", help="Only this identifier: 3 digits, or 8 (29 bits).")
@click.option("--frames", is_flag=True, help="Print the frames instead of verdicts: time, bus, identifier, data.")
@click.option("--speed", type=click.FloatRange(0.001, 1000), metavar="N", help="Play: 1 as fast as it was, 2 twice.")
@click.option("--paused", is_flag=True, help="Begin with a pause, to step through.")
@click.option("--onto", metavar="BUS", help="Send the frames onto this bus of the bench file. It asks first.")
@click.option("--bench", type=click.Path(path_type=Path), metavar="FILE", help="The bench file, for --onto.")
@click.option("--confirm", metavar="BUS", help="The name of the bus again, where nobody can be asked.")
@output_options
def command(
    file: Path,
    profile: str | None,
    from_s: float | None,
    to_s: float | None,
    buses: tuple[str, ...],
    units: tuple[str, ...],
    ids: tuple[str, ...],
    frames: bool,
    speed: float | None,
    paused: bool,
    onto: str | None,
    bench: Path | None,
    confirm: str | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Replay a capture: the verdicts of the live stage again, or its frames.

    FILE is a capture (.pcapng) or a log that python-can reads. By itself it is judged by recorded time, without
    sleeping: the same capture gives the same verdicts each time. With --speed its frames are played as they came.
    Nothing is sent onto a bus unless --onto asks for it.
    """
    from benchcheck.jobs.playing.playing import Playing
    from benchcheck.jobs.playing.replay import Part

    if from_s is not None and to_s is not None and from_s >= to_s:
        raise UsageError(f"there is no time from second {from_s:g} to second {to_s:g}", hint="--from is the earlier.")
    if (bench is not None or confirm is not None) and onto is None:
        raise UsageError("--bench and --confirm are for --onto", hint="Without --onto nothing is sent onto a bus.")
    part = Part(from_s, to_s)
    harness = None if profile is None else profile_named(profile)[0]
    if units and harness is None:
        raise UsageError("what --unit sends stands in a profile", hint="Give --profile as well.")
    if harness is not None:
        _known("bus", buses, [bus.name for bus in harness.buses])
        _known("unit", units, list(harness.units))
    if paused and speed is None and onto is None:
        raise UsageError("only what is played can begin with a pause", hint="Give --speed as well.")
    if not frames and speed is None and onto is None:
        if harness is None:
            raise UsageError("verdicts need a profile", hint="Give --profile; or --frames for the frames alone.")
        if ids:
            raise UsageError("a verdict is of a whole unit, not of one identifier", hint="Give --unit, or --frames.")
        return _judge(file, harness, part, buses, units, as_json=as_json)
    if frames and as_json:
        raise UsageError("the frames are lines of text", hint="Leave --json or --frames away.")
    wanted = _wanted(part, buses, units, ids, harness)
    if onto is not None or speed is not None:
        target = None if onto is None else _onto(onto, bench, confirm, file, harness)
        playing = Playing(file, wanted, speed or 1.0, frames, target, paused=paused)
        return _play(playing, as_json=as_json, plain=plain)
    return _print_frames(file, wanted)


def _judge(
    file: Path, harness: Harness, part: Part, buses: tuple[str, ...], units: tuple[str, ...], *, as_json: bool
) -> int:
    from benchcheck.capture.logs import open_recording
    from benchcheck.cli.replay_text import document_of, replay_lines
    from benchcheck.jobs.playing.replay import Replay
    from benchcheck.words.verdict import Outcome

    with open_recording(file) as recording:
        replayed = Replay(recording, harness, part, buses=buses, units=units).run()
        document = document_of(file, harness, recording, part, buses, units, replayed)
    if as_json:
        print_json(document)
    else:
        for text in replay_lines(document):
            click.echo(text)
    outcomes = {result.outcome for result in replayed.results}
    if Outcome.FAIL in outcomes:
        return ExitCode.FAIL
    return ExitCode.PASS if outcomes == {Outcome.PASS} else ExitCode.UNSURE


def _print_frames(file: Path, wanted: Wanted) -> int:
    from benchcheck.capture.logs import open_recording
    from benchcheck.cli.survey_text import escaped
    from benchcheck.jobs.playing.frame_rows import frame_rows, row_text

    count = 0
    with open_recording(file) as recording:
        for row in frame_rows(recording, wanted):
            click.echo(row_text(row))
            count += 1
        for note in recording.notes:
            say(escaped(note))
        damaged = recording.truncated
    if not count:
        say("no frame is left to print")
    return ExitCode.UNSURE if damaged or not count else ExitCode.PASS


def _play(playing: Playing, *, as_json: bool, plain: bool) -> int:
    from benchcheck.capture.logs import open_recording
    from benchcheck.cli.replay_play import play
    from benchcheck.cli.survey_text import escaped
    from benchcheck.words.quantity import counted

    with open_recording(playing.file):
        pass  # what can't be opened is said here, before a process is begun
    played = play(playing, plain=plain)
    late, onto = played.lateness, playing.onto
    if as_json:
        sent = None if onto is None else {"bus": onto.bus, "sent": played.sent, "not_sent": played.not_sent}
        print_json(
            {
                "schema": "benchcheck.replay_played/1",
                "file": playing.file.name,
                "speed": playing.speed,
                "frames": played.frames,
                "quit_at_s": played.quit_at_s,
                "onto": sent,
                "lateness": late,
                "notes": played.notes,
            }
        )
    for note in played.notes:
        say(escaped(note))
    if not played.frames and played.quit_at_s is None:
        say("no frame is left to play")
        return ExitCode.UNSURE
    if onto is not None:
        left = f"; {played.not_sent} remote, error or FD frames were not" if played.not_sent else ""
        say(f"{played.sent} frames were sent onto {onto.bus}{left}")
    told = "" if played.quit_at_s is None else f", and quit at second {played.quit_at_s:.3f}"
    timed = (
        ""
        if late["median_ms"] is None
        else (
            f"; late by {late['median_ms']} ms in the median, {late['p99_ms']} ms at the 99th percentile, "
            f"{late['max_ms']} ms at most"
        )
    )
    say(f"{counted(played.frames, 'frame')} played{told}{timed}")
    return ExitCode.PASS


def _onto(name: str, bench: Path | None, confirm: str | None, file: Path, harness: Harness | None) -> Onto:
    """The bus to send onto, once it is certain that it is meant."""
    from benchcheck.cli.bench_file import can_port_of, find_bench
    from benchcheck.jobs.playing.playing import Onto

    if bench is None:
        raise UsageError("--onto sends onto a bus of a bench that is named", hint="Give its file with --bench.")
    config, source = find_bench(bench, Path())
    port = can_port_of(config, source, name)
    if confirm is None:
        if not sys.stdin.isatty():
            raise UsageError(
                f"nobody can be asked whether to send onto {name}, so nothing was sent",
                hint=f"Where that is meant, give --confirm {name}.",
            )
        say(
            f"The frames of {file.name} will be SENT onto {name} at {port.channel}: whatever is joined to it will obey."
        )
        confirm = click.prompt(f"Type {name} to send, anything else not to", default="", show_default=False, err=True)
    if confirm != name:
        raise UsageError(
            f"{confirm!r} is not {name!r}: nothing was sent", hint="The name must be the same as of --onto."
        )
    rates = [] if harness is None else [bus.bitrate for bus in harness.buses if bus.name == name]
    return Onto(config, name, port.bitrate or next(iter(rates), None))


def _wanted(
    part: Part, buses: tuple[str, ...], units: tuple[str, ...], ids: tuple[str, ...], harness: Harness | None
) -> Wanted:
    from benchcheck.jobs.playing.frame_rows import Wanted
    from benchcheck.traffic.tallies.watch import IdKey

    chosen: set[IdKey] | None = {_identifier(text) for text in ids} if ids else None
    if units and harness is not None:
        own = {
            IdKey(message.can_id, message.extended)
            for bus in harness.buses
            for message in bus.messages
            if message.sender in units
        }
        chosen = own if chosen is None else chosen & own
    return Wanted(part, frozenset(buses), None if chosen is None else frozenset(chosen))


def _identifier(text: str) -> IdKey:
    from benchcheck.traffic.tallies.watch import EXTENDED_MASK, STANDARD_MASK, IdKey

    digits = text.isascii() and all(char in "0123456789abcdefABCDEF" for char in text)
    if digits and len(text) in (3, 8) and int(text, 16) <= (STANDARD_MASK if len(text) == 3 else EXTENDED_MASK):
        return IdKey(int(text, 16), len(text) == 8)
    raise UsageError(
        f"{text!r} is no identifier",
        hint="Three hex digits up to 7FF for 11 bits, eight up to 1FFFFFFF for 29 bits, as 0C1 or 18A10309.",
    )


def _known(what: str, given: tuple[str, ...], names: list[str]) -> None:
    for name in given:
        if name not in names:
            raise UsageError(f"the profile has no {what} {name!r}", hint=f"It has {', '.join(names) or 'none'}.")
