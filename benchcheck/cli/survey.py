"""`benchcheck survey`: the analysis of a recording: load, identifiers, silences, lines, and who is there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.cli.profile_named import profile_named
from benchcheck.cli.survey_text import escaped, survey_lines
from benchcheck.words.errors import UsageError

if TYPE_CHECKING:
    pass

_SLOWEST, _FASTEST = 1_000, 8_000_000
_BIG_BYTES = 20_000_000


class _BitRate(click.ParamType[int]):
    """A bit rate that a CAN bus can have."""

    name = "bit rate"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int:
        text = str(value)
        rate = int(text) if text.isascii() and text.isdigit() and len(text) < 12 else 0
        if not _SLOWEST <= rate <= _FASTEST:
            limits = f"a whole number of bit/s from {_SLOWEST} to {_FASTEST}, as 250000"
            self.fail(f"{text!r} is no bit rate of a CAN bus: {limits} for 250 kbit/s.", param, ctx)
        return rate


@click.command(
    epilog="""\b
Examples:
  benchcheck survey captures/launch_good.pcapng
  benchcheck survey drive.log --bitrate 250000 --json
  benchcheck survey position.nmea --line nmea0183
  benchcheck survey captures/launch_good.pcapng --profile profiles/survey_launch
  benchcheck survey captures/launch_good.pcapng --profile profiles/survey_launch --signal Roll

\b
Exit codes: 0 surveyed (with --profile: every unit, talk and limited signal PASS), 1 one FAILs, 2 bad input,
4 nothing to judge, a load that can't be, or a unit, talk or signal is UNSURE (talks that were not
listened to don't count where the recording holds no line at all)."""
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--bitrate", type=_BitRate(), metavar="N", help="Bit rate of the CAN buses, bit/s.")
@click.option("--data-bitrate", type=_BitRate(), metavar="N", help="Second rate of FD frames, bit/s.")
@click.option("--no-load", is_flag=True, help="Leave the bus load out: then no bit rate is needed.")
@click.option(
    "--line", metavar="PROTOCOL", help="FILE holds the raw bytes of a line: nmea0183, text, or one of the profile's."
)
@click.option("--profile", metavar="PROFILE", help="Judge who is there by this profile: a folder, or a name.")
@click.option(
    "--signal", "signals", multiple=True, metavar="NAME", help="Decode it: Roll, or MRU_ATTITUDE.Roll. Repeat."
)
@output_options
def command(
    file: Path,
    bitrate: int | None,
    data_bitrate: int | None,
    no_load: bool,
    line: str | None,
    profile: str | None,
    signals: tuple[str, ...],
    as_json: bool,
    plain: bool,
) -> int:
    """Survey a recording: exact bus load, identifiers, silences, lines; with a profile, who is there.

    FILE is a capture (.pcapng), a log that python-can reads (.log .asc .blf .csv .db .trc, also .gz),
    or with --line the raw bytes of a serial line.
    """
    from benchcheck.capture.logs import is_capture, open_line, open_recording, size_bytes
    from benchcheck.cli.line_option import check_line
    from benchcheck.cli.survey_run import Survey, no_bitrate

    if no_load and (bitrate is not None or data_bitrate is not None):
        raise UsageError("--no-load leaves the load out, a bit rate asks for it", hint="Give one of them.")
    harness = None if profile is None else profile_named(profile)[0]
    check_line(line, harness)
    if line is not None and not is_capture(file):
        recording = open_line(file, line)
    else:
        recording = open_recording(file, gathered=True)
        if not no_load and bitrate is None and harness is None and not is_capture(file):
            raise no_bitrate(str(file))
    size = size_bytes(file)
    if size > _BIG_BYTES:
        say(f"Reading {escaped(file.name)}, {size / 1e6:.0f} MB ...")
    with recording:
        survey = Survey(recording, harness, bitrate, data_bitrate, line, no_load=no_load, signals=signals)
        survey.read()
    document = survey.document(file)
    if as_json:
        print_json(document)
    else:
        for text in survey_lines(document):
            click.echo(text)
    return survey.exit_code()
