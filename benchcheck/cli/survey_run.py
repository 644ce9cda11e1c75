"""The work of `benchcheck survey`: a recording is read into tallies, judged, and becomes the JSON of the survey."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchcheck.cli.survey_text import escaped
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from benchcheck.capture.recording import LineChunk, Recording
    from benchcheck.harness.model import Bus, Harness
    from benchcheck.traffic.lines.line_tally import LineTally
    from benchcheck.traffic.lines.talks import TalkPresence
    from benchcheck.traffic.presence.presence import UnitPresence

    Json = dict[str, object]

SCHEMA = "benchcheck.survey/1"


def no_bitrate(where: str) -> UsageError:
    """The refusal to make up a bus load."""
    return UsageError(
        "the bit rate is not known, and without it there is no bus load",
        where=where,
        hint="Give --bitrate, or --profile; or --no-load for all the rest without the load. "
        "It can't be guessed from frames: the same ones fit any bit rate.",
    )


class Survey:
    """Reads a recording into tallies, and says what they hold."""

    def __init__(
        self,
        recording: Recording,
        harness: Harness | None,
        bitrate: int | None,
        data_bitrate: int | None,
        protocol: str | None,
        *,
        no_load: bool = False,
        signals: Sequence[str] = (),
    ) -> None:
        from benchcheck.cli.survey_signals import SurveyedSignals
        from benchcheck.traffic.tallies.traffic_tally import TrafficTally

        self.recording = recording
        self.harness = harness
        self.bitrate = bitrate
        self.data_bitrate = data_bitrate
        self.protocol = protocol
        self.no_load = no_load
        self.tally = TrafficTally()
        self.lines: dict[int, LineTally] = {}
        self._power_on_ns: list[int] = []
        self.first_line_ns: int | None = None
        self.last_line_ns: int | None = None
        self.notes: list[str] = []
        self.units: list[tuple[str, UnitPresence]] = []
        self.talks: list[TalkPresence] = []
        self.signals = SurveyedSignals(harness, signals)
        self.buses: list[Json] = []
        self.load_in_doubt = False
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
        if not self.no_load:
            self._check_rates()
        self._sum_up()
        if self.harness is not None:
            self._judge(self.harness)

    def _take_line(self, chunk: LineChunk) -> None:
        from benchcheck.traffic.lines.line_tally import LineTally
        from benchcheck.traffic.lines.protocols import protocols_of

        if chunk.sent:
            return  # what the bench itself said is no traffic of the line under test
        tally = self.lines.get(chunk.line)
        if tally is None:
            stated = self.recording.lines[chunk.line].protocol or self._profile_protocol(chunk.line)
            known = protocols_of(self.harness)
            tally = self.lines[chunk.line] = LineTally(known[stated if stated in known else self.protocol or "text"])
        tally.feed(chunk.data, chunk.time_ns, framing_errors=chunk.framing_errors)
        self.first_line_ns = chunk.time_ns if self.first_line_ns is None else self.first_line_ns
        self.last_line_ns = chunk.time_ns

    def _profile_protocol(self, line: int) -> str:
        from benchcheck.traffic.lines.talks import link_of_line

        link = None if self.harness is None else link_of_line(self.harness, self.recording.lines[line].name)
        return "" if link is None else link.protocol

    def _watch_new_buses(self) -> None:
        """Tell the tally what to keep of buses that have just turned up, before their first frame is counted."""
        from benchcheck.traffic.presence.expectations import expectations
        from benchcheck.traffic.presence.presence import watch_of
        from benchcheck.traffic.signals.signal_tallies import with_signals

        for number in range(self._watched, len(self.recording.buses)):
            bus = self.profile_bus(number)
            if bus is not None and self.harness is not None:
                watch = watch_of(expectations(self.harness, bus))
                self.tally.watch[number] = with_signals(watch, self.signals.wanted(bus))
        self._watched = len(self.recording.buses)

    def profile_bus(self, number: int) -> Bus | None:
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
        bus = self.profile_bus(number)
        return (
            self.bitrate or info.bitrate or (None if bus is None else bus.bitrate),
            self.data_bitrate or info.data_bitrate or (None if bus is None else bus.data_bitrate),
        )

    def _check_rates(self) -> None:
        for number, bus in self.tally.buses.items():
            name = escaped(self.recording.buses[number].name)
            bitrate, data_bitrate = self._rates(number)
            if bitrate is None:
                raise no_bitrate(f"bus {name}")
            if bus.data_rate_bits and data_bitrate is None:
                self.notes.append(
                    f"bus {name} has frames that switch to a second bit rate: its load needs --data-bitrate, or data_bitrate in the profile"
                )

    def _sum_up(self) -> None:
        """The entries of `buses[]`, and what is to be said of their loads."""
        from benchcheck.cli.survey_gaps import flag_recorders, gaps_of_bus
        from benchcheck.traffic.summary import bus_json
        from benchcheck.traffic.wire.load_sense import lower_bound, peak_below_mean, too_high

        # what stands behind the damage at which reading ended is no part of the time that the load is of
        uncounted = self.recording.bad_records - (1 if self.recording.truncated else 0)
        at_least = lower_bound(uncounted, self.recording.dropped_frames, unrecorded=bool(self.recording.recorder_gaps))
        for number in self.tally.buses:
            name = self.recording.buses[number].name
            bitrate, data_bitrate = self._rates(number)
            loaded = (None, None) if self.no_load else (bitrate, data_bitrate)
            bus = bus_json(self.tally, number, name, *loaded)
            flag_recorders(bus, gaps_of_bus(self.recording, name), self.tally.origin_ns or 0)
            self.buses.append({**bus, "bitrate": bitrate, "load_is_lower_bound": bool(at_least)})
            above, below = too_high(bus), peak_below_mean(bus)
            self.load_in_doubt |= bool(above)
            self.notes += [f"bus {escaped(name)}: {text}" for text in (above, below) if text]
        if self.no_load and self.tally.buses:
            self.notes.append("the load was left out, as asked for (--no-load)")
        elif at_least and self.tally.frames:
            self.notes.append(at_least)

    def _judge(self, harness: Harness) -> None:
        self._judge_units(harness)
        self._judge_talks(harness)

    def _judge_talks(self, harness: Harness) -> None:
        from benchcheck.cli.survey_gaps import unrecorded_lines
        from benchcheck.traffic.lines.line_tally import LineTally
        from benchcheck.traffic.lines.protocols import protocol_of
        from benchcheck.traffic.lines.talks import judge_talks, link_of_line

        lines: dict[str, LineTally] = {}
        for number, info in enumerate(self.recording.lines):
            link = link_of_line(harness, info.name)
            if link is not None:
                tally = self.lines.get(number) or LineTally(protocol_of(link))
                if info.name not in lines or tally.bytes > lines[info.name].bytes:
                    lines[info.name] = tally
        self.talks = judge_talks(harness, lines, self._recorded_s(), unrecorded_lines(self.recording))

    def _recorded_s(self) -> float:
        """How long was recorded, of buses or of lines, whichever is more."""
        from benchcheck.traffic.summary import duration_json

        spans = (self._line_duration()["recorded_s"], duration_json(self.tally)["recorded_s"])
        return max((span for span in spans if isinstance(span, float)), default=0.0)

    def _judge_units(self, harness: Harness) -> None:
        from benchcheck.cli.survey_gaps import gaps_of_bus
        from benchcheck.traffic.presence.expectations import expectations, known_on_bus
        from benchcheck.traffic.presence.presence import judge_presence
        from benchcheck.words.recorder_gap import dropped_elsewhere

        matched: dict[str, int] = {}
        for number in range(len(self.recording.buses)):
            bus = self.profile_bus(number)
            if bus is not None:
                matched.setdefault(bus.name, number)
        for bus in harness.buses:
            tally = self.tally.buses.get(matched.get(bus.name, -1))
            start = self.tally.first_ns or 0
            heard_on = matched.get(bus.name)
            gaps = [] if heard_on is None else gaps_of_bus(self.recording, self.recording.buses[heard_on].name)
            verdicts = judge_presence(
                expectations(harness, bus),
                tally,
                start_ns=start,
                end_ns=start if self.tally.last_ns is None else self.tally.last_ns,
                power_on_ns=self._power_on(),
                dropped_frames=dropped_elsewhere(self.recording.dropped_frames, self.recording.recorder_gaps),
                recorder_gaps=gaps,
                also_known=known_on_bus(bus).ids,
            )
            self.units += [(bus.name, verdict) for verdict in verdicts]
        tallies = {name: self.tally.buses.get(number) for name, number in matched.items()}
        self.signals.judge(tallies, self.tally.origin_ns or 0, self.recording.dropped_frames)
        for number in self.tally.buses:
            if self.profile_bus(number) is None:
                self.notes.append(f"bus {escaped(self.recording.buses[number].name)} is not in the profile")

    def _power_on(self) -> int | None:
        """When the units got power: of several marks the last one before the first frame, else the last of all."""
        marks = self._power_on_ns
        before = [mark for mark in marks if self.tally.first_ns is None or mark <= self.tally.first_ns]
        return before[-1] if before else marks[-1] if marks else None

    def document(self, file: Path) -> Json:
        """The JSON of the survey."""
        from benchcheck.cli.survey_gaps import gaps_json
        from benchcheck.traffic.summary import RULES, duration_json, steps_json, unit_json

        recording, tally = self.recording, self.tally
        origin_ns = next((at for at in (tally.origin_ns, self.first_line_ns) if at is not None), 0)
        names = {number: recording.buses[number].name for number in tally.buses}
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
            "recorder_gaps": gaps_json(recording, origin_ns),
            "clock_steps": steps_json(tally, names),
            "buses": self.buses,
            "lines": [self._line_json(number) for number in sorted(self.lines)],
            "rules": RULES,
        }
        if self.harness is not None:
            document["profile"] = self.harness.name
            document["units"] = [unit_json(bus, verdict, tally.origin_ns or 0) for bus, verdict in self.units]
            document["talks"] = [_talk_json(talk) for talk in self.talks]
            document["signals"] = self.signals.document
        return document

    def _line_json(self, number: int) -> Json:
        from benchcheck.cli.survey_gaps import flag_recorders, gaps_of_line
        from benchcheck.traffic.summary import line_json

        name, tally = self.recording.lines[number].name, self.lines[number]
        line = line_json(name, tally)
        flag_recorders(line, gaps_of_line(self.recording, name), tally.first_ns or 0)
        return line

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
        # who recorded buses only has not listened to the links, and knows it: that is no news
        talks = self.talks if self.recording.lines else []
        outcomes |= {talk.verdict.value for talk in talks}
        outcomes |= {verdict.outcome.value for verdict in self.signals.verdicts}
        if "FAIL" in outcomes:
            return ExitCode.FAIL
        if "UNSURE" in outcomes or self.load_in_doubt or self._nothing():
            return ExitCode.UNSURE
        return ExitCode.PASS


def _talk_json(talk: TalkPresence) -> Json:
    return {
        "link": talk.link,
        "sender": talk.sender,
        "line": talk.line or None,
        "verdict": talk.verdict.value,
        "state": talk.state.value,
        "text": talk.text,
    }
