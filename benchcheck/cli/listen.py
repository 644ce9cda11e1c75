"""`benchcheck listen`: live, who is there, load, errors, lines; writes a capture, and ends with its survey."""

from __future__ import annotations

import shutil
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.cli.profile_named import profile_named
from benchcheck.words.errors import ExitCode, InputError, SetupError, UsageError

if TYPE_CHECKING:
    from benchcheck.bench.bench import Bench
    from benchcheck.bench.config import BenchConfig
    from benchcheck.harness.model import Harness
    from benchcheck.jobs.listening.live_listening import ListenBus, ListenLine, LiveListening

_PUMP_S = 0.02
_LOOK_S = 0.1  # how often it is asked whether all are present
_TELL_S = 1.0


@click.command(
    epilog="""\b
Examples:
  benchcheck listen --bench bench.toml --profile survey_launch
  benchcheck listen --bench bench.toml --profile survey_launch --until-present --for 30
  benchcheck listen --bench bench.toml --bus can1 --bitrate 250000 --for 10 --json
  benchcheck listen --bench bench.toml --bus can1 --find-bitrate --for 10
  benchcheck listen --bench bench.toml --profile survey_launch --tap tap1=gps_log:GPS
  benchcheck listen --bench bench.toml --tap tap1 --baud 4800 --find-speed

\b
While it listens, a line tells each second how every bus and line stands, and what changed. Ctrl-C ends it in
order. What was heard is in the capture; the verdicts at the end are those of `benchcheck survey` on it.

\b
Exit codes: those of survey: 0 all PASS, 1 a FAIL, 3 nothing could be opened, 4 something is UNSURE."""
)
@click.option(
    "--bench", type=click.Path(path_type=Path), metavar="FILE", help="What is on the bench: bench.toml, or JSON."
)
@click.option("--profile", metavar="PROFILE", help="Who should be there: a folder, or a name.")
@click.option("--bus", "buses", multiple=True, metavar="BUS", help="Only this bus; may be given again.")
@click.option("--bitrate", type=click.IntRange(1_000, 1_000_000), metavar="N", help="Bit rate of the buses, bit/s.")
@click.option("--tap", "taps", multiple=True, metavar="TAP[=LINK:UNIT]", help="Also this serial port, as that talker.")
@click.option("--baud", type=click.IntRange(50, 4_000_000), metavar="N", help="Speed of taps without a talker [4800].")
@click.option("--framing", metavar="8N1", help="Their data bits, parity and stop bits [8N1].")
@click.option("--protocol", type=click.Choice(["nmea0183", "text"]), help="What they speak [nmea0183].")
@click.option("--find-speed", is_flag=True, help="First find the speed of every tap, by listening.")
@click.option("--find-bitrate", is_flag=True, help="First find the bit rate of every bus, by listening only.")
@click.option("--for", "for_s", type=click.FloatRange(0.1), metavar="S", help="End after so many seconds.")
@click.option("--until-present", is_flag=True, help="End as soon as every unit of the profile is there.")
@click.option("--acknowledge", is_flag=True, help="Let the CAN adapters take part in the bus; else they only listen.")
@click.option(
    "--capture", type=click.Path(path_type=Path), metavar="FILE", help="Where it is written [listen-TIME.pcapng]."
)
@output_options
def command(
    bench: Path | None,
    profile: str | None,
    buses: tuple[str, ...],
    bitrate: int | None,
    taps: tuple[str, ...],
    baud: int | None,
    framing: str | None,
    protocol: str | None,
    find_speed: bool,
    find_bitrate: bool,
    for_s: float | None,
    until_present: bool,
    acknowledge: bool,
    capture: Path | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Listen to the bench: buses, and serial lines that are named.

    Nothing is sent, and nothing acknowledged unless --acknowledge says so.
    """
    from benchcheck.bench.bench import Bench
    from benchcheck.cli.bench_file import find_bench
    from benchcheck.cli.signals import ends_in_order
    from benchcheck.jobs.listening.capture_file import CaptureFile
    from benchcheck.jobs.listening.live_listening import LiveListening

    harness, folder = (None, Path()) if profile is None else profile_named(profile)
    if until_present and harness is None:
        raise UsageError("who should be there stands in a profile", hint="Give --profile, or --for a time.")
    config, source = find_bench(bench, folder)
    wanted = _buses(config, source, harness, buses, bitrate)
    tapped = _lines(config, source, harness, taps, baud, framing, protocol)
    if not wanted and not tapped:
        raise UsageError("there is nothing to listen to", where=source, hint="Name CAN adapters there, or give --tap.")
    path = capture or Path(f"listen-{_now_text()}.pcapng")
    if path.exists():
        raise InputError("is there already", where=str(path), hint="Name a new file with --capture; captures stay.")
    with ExitStack() as stack:
        stack.enter_context(ends_in_order())
        opened = stack.enter_context(Bench(config))
        if find_bitrate:
            wanted = [_at_its_bitrate(opened, bus) for bus in wanted]
        if find_speed:
            tapped = [_at_its_speed(opened, line, harness) for line in tapped]
        kept = CaptureFile(
            path,
            harness,
            buses=[(bus.name, bus.bitrate, bus.data_bitrate) for bus in wanted],
            lines={line.name: (line.protocol, line.baud) for line in tapped},
        )
        try:
            live = LiveListening(opened, wanted, tapped, harness, kept, acknowledge=acknowledge)
            live.start()
            for name, trouble in live.troubles.items():
                say(f"{name}: {trouble}")
            if live.listens:
                _listen(live, opened, for_s, until_present=until_present, quiet=as_json)
        finally:
            kept.close()
    if not live.listens:
        kept.forget()
        raise SetupError("nothing could be opened", where=source, hint="What each port said stands above.")
    say(f"The capture is {kept.parts[0]}" + (f" and {len(kept.parts) - 1} more parts" if len(kept.parts) > 1 else ""))
    code = _survey(path, harness, as_json=as_json)
    return ExitCode.UNSURE if code == ExitCode.PASS and live.troubles else code


def _listen(live: LiveListening, bench: Bench, for_s: float | None, *, until_present: bool, quiet: bool) -> None:
    """Until the time is over, all are present, or somebody ends it."""
    from benchcheck.cli.listen_text import Teller

    clock, teller = bench.clock, Teller(quiet, shutil.get_terminal_size().columns if sys.stderr.isatty() else None)
    begin_ns = told_ns = looked_ns = clock.monotonic_ns()
    try:
        while True:
            clock.sleep(_PUMP_S)
            live.pump()
            now_ns = clock.monotonic_ns()
            if until_present and now_ns - looked_ns >= _LOOK_S * 1e9:
                looked_ns = now_ns
                if live.all_present():
                    say(f"All are present after {(now_ns - begin_ns) / 1e9:.2f} s.")
                    break
            if now_ns - told_ns >= _TELL_S * 1e9:
                told_ns = now_ns
                teller.tell((now_ns - begin_ns) / 1e9, live.buses(), live.lines())
            if for_s is not None and now_ns - begin_ns >= for_s * 1e9:
                break
    except KeyboardInterrupt:
        say("Ended.")
    live.stop()


def _survey(path: Path, harness: Harness | None, *, as_json: bool) -> int:
    """What `benchcheck survey` says of the capture."""
    from benchcheck.capture.logs import open_recording
    from benchcheck.cli.survey_run import Survey
    from benchcheck.cli.survey_text import survey_lines

    with open_recording(path, gathered=True) as recording:
        survey = Survey(recording, harness, None, None, None, no_load=any(not bus.bitrate for bus in recording.buses))
        survey.read()
    document = survey.document(path)
    if as_json:
        print_json(document)
    else:
        for text in survey_lines(document):
            click.echo(text)
    return survey.exit_code()


def _buses(
    config: BenchConfig, source: str, harness: Harness | None, names: tuple[str, ...], bitrate: int | None
) -> list[ListenBus]:
    from benchcheck.cli.bench_file import can_port_of
    from benchcheck.jobs.listening.live_listening import ListenBus

    profile = {bus.name: bus for bus in harness.buses} if harness is not None else {}
    found = []
    for name in names or [port.bus for port in config.can]:
        bus, port = profile.get(name), can_port_of(config, source, name)
        rate = port.bitrate or bitrate or (bus.bitrate if bus is not None else None)
        found.append(ListenBus(name, rate, bus.data_bitrate if bus is not None else None))
    return found


def _lines(
    config: BenchConfig,
    source: str,
    harness: Harness | None,
    taps: tuple[str, ...],
    baud: int | None,
    framing: str | None,
    protocol: str | None,
) -> list[ListenLine]:
    from benchcheck.jobs.listening.live_listening import ListenLine

    there = [port.name for port in config.serial]
    found = []
    for text in taps:
        tap, _, talker = text.partition("=")
        if tap not in there:
            raise UsageError(
                f"this bench has no serial port {tap!r}", where=source, hint=f"It has {', '.join(there) or 'none'}."
            )
        if not talker:
            found.append(ListenLine(tap, tap, protocol or "nmea0183", baud or 4800, framing or "8N1"))
            continue
        if harness is None:
            raise UsageError("links stand in a profile", hint="Give --profile as well.")
        name, _, unit = talker.partition(":")
        link = next((link for link in harness.links if link.name == name), None)
        talkers = [f"{link.name}:{talk.sender}" for link in harness.links for talk in link.talks]
        if link is None or unit not in [talk.sender for talk in link.talks]:
            raise UsageError(f"the profile has no talker {talker!r}", hint=f"It has {', '.join(talkers) or 'none'}.")
        found.append(ListenLine(tap, talker, link.protocol, baud or link.baud, framing or link.framing))
    return found


def _at_its_speed(bench: Bench, line: ListenLine, harness: Harness | None) -> ListenLine:
    """The line at the speed that was found, or as it was."""
    from dataclasses import replace

    from benchcheck.jobs.listening.find_speed import find_speed
    from benchcheck.traffic.lines.protocols import protocols_of

    say(f"{line.name}: looking for its speed ...")
    listener = bench.line(line.tap, line.baud, line.framing)
    found = find_speed(listener, bench.clock, protocols_of(harness)[line.protocol], line.baud, line.framing)
    say(f"{line.name}: {found.text}")
    return line if found.best is None else replace(line, baud=found.best.baud, framing=found.best.framing)


def _at_its_bitrate(bench: Bench, bus: ListenBus) -> ListenBus:
    """The bus at the bit rate that was found, or as it was."""
    from dataclasses import replace

    from benchcheck.jobs.listening.find_bitrate import find_bitrate

    say(f"{bus.name}: looking for its bit rate ...")
    found = find_bitrate(bench, bus.name, bus.bitrate)
    say(f"{bus.name}: {found.text}")
    return bus if found.bitrate is None else replace(bus, bitrate=found.bitrate)


def _now_text() -> str:
    from benchcheck.bench.clock import Clock

    return Clock().utc()[:19].replace("-", "").replace(":", "").replace("T", "-")
