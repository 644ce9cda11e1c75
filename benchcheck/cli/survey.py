"""`benchcheck survey`: the analysis of a recording: load, identifiers, silences, lines, and who is there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.cli.survey_text import escaped, survey_lines
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchcheck.capture.recording import LineChunk, Recording
    from benchcheck.harness.model import Bus, Harness
    from benchcheck.traffic.line_tally import LineTally
    from benchcheck.traffic.presence import UnitPresence

    Json = dict[str, object]

SCHEMA = "benchcheck.survey/1"
_BIG_BYTES = 20_000_000


@click.command(
    epilog="""\b
Examples:
  benchcheck survey captures/good.pcapng
  benchcheck survey drive.log --bitrate 250000 --json
  benchcheck survey position.nmea --line nmea0183
  benchcheck survey captures/good.pcapng --profile profiles/survey_launch

\b
Exit codes: 0 surveyed (with --profile: every unit PASS), 1 a unit FAILs, 2 bad input,
4 nothing to judge, or a unit is UNSURE."""
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--bitrate", type=click.IntRange(min=1), metavar="N", help="Bit rate of the CAN buses, bit/s.")
@click.option("--data-bitrate", type=click.IntRange(min=1), metavar="N", help="Second rate of FD frames, bit/s.")
@click.option("--line", "line", type=click.Choice(["nmea0183", "text"]), help="FILE holds the raw bytes of a line.")
@click.option("--profile", metavar="PROFILE", help="Judge who is there by this profile: a folder, or a name.")
@output_options
def command(
    file: Path,
    bitrate: int | None,
    data_bitrate: int | None,
    line: str | None,
    profile: str | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Survey a recording: exact bus load, identifiers, silences, lines; with a profile, who is there.

    FILE is a capture (.pcapng), a log that python-can reads (.log .asc .blf .csv .db .trc, also .gz),
    or with --line the raw bytes of a serial line.
    """
    from benchcheck.capture.logs import is_capture, open_line, open_recording

    harness = None if profile is None else _load(profile)
    if line is not None and not is_capture(file):
        recording = open_line(file, line)
    else:
        recording = open_recording(file)
        if bitrate is None and harness is None and not is_capture(file):
            raise _no_bitrate(str(file))
    if file.stat().st_size > _BIG_BYTES:
        say(f"Reading {escaped(file.name)}, {file.stat().st_size / 1e6:.0f} MB ...")
    with recording:
        survey = _Survey(recording, harness, bitrate, data_bitrate, line)
        survey.read()
    document = survey.document(file)
    if as_json:
        print_json(document)
    else:
        for text in survey_lines(document):
            click.echo(text)
    return survey.exit_code()


def _load(profile: str) -> Harness:
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile

    return load_profile(find_profile(profile))


def _no_bitrate(where: str) -> UsageError:
    return UsageError(
        "the bit rate is not known, and without it there is no bus load",
        where=where,
        hint="Give --bitrate, or --profile. It can't be guessed from frames: the same ones fit any bit rate.",
    )


class _Survey:
    """Reads a recording into tallies, and says what they hold."""

    def __init__(
        self,
        recording: Recording,
        harness: Harness | None,
        bitrate: int | None,
        data_bitrate: int | None,
        protocol: str | None,
    ) -> None:
        from benchcheck.traffic.traffic_tally import TrafficTally

        self.recording = recording
        self.harness = harness
        self.bitrate = bitrate
        self.data_bitrate = data_bitrate
        self.protocol = protocol
        self.tally = TrafficTally()
        self.lines: dict[int, LineTally] = {}
        self._power_on_ns: list[int] = []
        self.first_line_ns: int | None = None
        self.last_line_ns: int | None = None
        self.notes: list[str] = []
        self.units: list[tuple[str, UnitPresence]] = []
        self._watched = 0

    def read(self) -> None:
        """Read to the end (or to the damage), and judge."""
        from benchcheck.capture.recording import LineChunk, Mark

        for item in self.recording:
            if isinstance(item, LineChunk):
                self._take_line(item)
            elif isinstance(item, Mark):
                if item.kind == "power_on":
                    self._power_on_ns.append(item.time_ns)
            else:
                self._watch_new_buses()
                self.tally.update(item)
        for tally in self.lines.values():
            tally.flush()
        self._check_rates()
        if self.harness is not None:
            self._judge(self.harness)

    def _take_line(self, chunk: LineChunk) -> None:
        from benchcheck.traffic.line_tally import PROTOCOLS, LineTally

        if chunk.sent:
            return  # what the bench itself said is no traffic of the line under test
        tally = self.lines.get(chunk.line)
        if tally is None:
            stated = self.recording.lines[chunk.line].protocol or self._profile_protocol(chunk.line)
            known = stated if stated in PROTOCOLS else self.protocol or "text"
            tally = self.lines[chunk.line] = LineTally(known)
        tally.feed(chunk.data, chunk.time_ns)
        self.first_line_ns = chunk.time_ns if self.first_line_ns is None else self.first_line_ns
        self.last_line_ns = chunk.time_ns

    def _profile_protocol(self, line: int) -> str:
        name = self.recording.lines[line].name
        links = () if self.harness is None else self.harness.links
        return next((link.protocol for link in links if link.name == name), "")

    def _watch_new_buses(self) -> None:
        """Tell the tally what to keep of buses that have just turned up, before their first frame is counted."""
        from benchcheck.traffic.expectations import expectations
        from benchcheck.traffic.presence import watch_of

        for number in range(self._watched, len(self.recording.buses)):
            bus = self._profile_bus(number)
            if bus is not None and self.harness is not None:
                self.tally.watch[number] = watch_of(expectations(self.harness, bus))
        self._watched = len(self.recording.buses)

    def _profile_bus(self, number: int) -> Bus | None:
        """The profile's bus of this name; a recording's first bus is the only one of a profile that has one."""
        if self.harness is None:
            return None
        name = self.recording.buses[number].name
        for bus in self.harness.buses:
            if bus.name == name:
                return bus
        if len(self.harness.buses) == 1 and number == 0:
            return self.harness.buses[0]
        return None

    def _rates(self, number: int) -> tuple[int | None, int | None]:
        info = self.recording.buses[number]
        bus = self._profile_bus(number)
        return (
            self.bitrate or info.bitrate or (None if bus is None else bus.bitrate),
            self.data_bitrate or info.data_bitrate,
        )

    def _check_rates(self) -> None:
        for number, bus in self.tally.buses.items():
            name = escaped(self.recording.buses[number].name)
            bitrate, data_bitrate = self._rates(number)
            if bitrate is None:
                raise _no_bitrate(f"bus {name}")
            if bus.data_rate_bits and data_bitrate is None:
                self.notes.append(
                    f"bus {name} has frames that switch to a second bit rate: its load needs --data-bitrate"
                )

    def _judge(self, harness: Harness) -> None:
        from benchcheck.traffic.expectations import expectations
        from benchcheck.traffic.presence import judge_presence

        matched: dict[str, int] = {}
        for number in range(len(self.recording.buses)):
            bus = self._profile_bus(number)
            if bus is not None:
                matched.setdefault(bus.name, number)
        for bus in harness.buses:
            tally = self.tally.buses.get(matched.get(bus.name, -1))
            start = self.tally.first_ns or 0
            verdicts = judge_presence(
                expectations(harness, bus),
                tally,
                start_ns=start,
                end_ns=max(start, self.tally.last_ns or 0),
                power_on_ns=self._power_on(),
                dropped_frames=self.recording.dropped_frames,
                also_known=[(message.can_id, message.extended) for message in bus.messages],
            )
            self.units += [(bus.name, verdict) for verdict in verdicts]
        for number in self.tally.buses:
            if self._profile_bus(number) is None:
                self.notes.append(f"bus {escaped(self.recording.buses[number].name)} is not in the profile")

    def _power_on(self) -> int | None:
        """When the units got power: of several marks the last one before the first frame, else the last of all."""
        marks = self._power_on_ns
        before = [mark for mark in marks if self.tally.first_ns is None or mark <= self.tally.first_ns]
        return before[-1] if before else marks[-1] if marks else None

    def document(self, file: Path) -> Json:
        """The JSON of the survey."""
        from benchcheck.traffic.summary import RULES, bus_json, duration_json, line_json, steps_json

        recording, tally = self.recording, self.tally
        names = {number: recording.buses[number].name for number in tally.buses}
        buses = []
        for number, name in names.items():
            bitrate, data_bitrate = self._rates(number)
            buses.append(bus_json(tally, number, name, bitrate or 0, data_bitrate))
        document: Json = {
            "schema": SCHEMA,
            "file": file.name,
            **(duration_json(tally) if tally.buses else self._line_duration()),
            "frames": tally.frames,
            "error_frames": tally.error_frames,
            "bad_records": recording.bad_records,
            "skipped_lines": recording.skipped_lines,
            "dropped_frames": recording.dropped_frames,
            "truncated": recording.truncated,
            "notes": [*recording.notes, *self.notes, *self._nothing()],
            "clock_steps": steps_json(tally, names),
            "buses": buses,
            "lines": [line_json(recording.lines[number].name, self.lines[number]) for number in sorted(self.lines)],
            "rules": RULES,
        }
        if self.harness is not None:
            document["profile"] = self.harness.name
            document["units"] = [_unit_json(bus, verdict, tally.origin_ns or 0) for bus, verdict in self.units]
        return document

    def _line_duration(self) -> Json:
        from benchcheck.traffic.summary import seconds

        span = (self.last_line_ns or 0) - (self.first_line_ns or 0)
        duration = seconds(span) if span > 0 else None
        return {"duration_s": duration, "recorded_s": duration}

    def _nothing(self) -> Sequence[str]:
        if self.tally.frames or self.tally.error_frames:
            return ()
        if not self.lines:
            return ("there is no frame in it: nothing to judge",)
        if not any(tally.understood for tally in self.lines.values()):
            return ("no sentence in it can be understood: is it the right protocol and baud rate?",)
        return ()

    def exit_code(self) -> int:
        outcomes = {verdict.verdict.value for _, verdict in self.units}
        if "FAIL" in outcomes:
            return ExitCode.FAIL
        if "UNSURE" in outcomes or self._nothing():
            return ExitCode.UNSURE
        return ExitCode.PASS


def _unit_json(bus: str, unit: UnitPresence, origin_ns: int) -> Json:
    from benchcheck.traffic.summary import seconds

    return {
        "unit": unit.unit,
        "bus": bus,
        "verdict": unit.verdict.value,
        "state": unit.state.value,
        "first_s": None if unit.first_ns is None else seconds(unit.first_ns - origin_ns),
        "last_s": None if unit.last_ns is None else seconds(unit.last_ns - origin_ns),
        "max_gap_s": None if unit.max_gap_ns is None else seconds(unit.max_gap_ns),
        "text": unit.text,
    }
