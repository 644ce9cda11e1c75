"""The live stage judged from a capture, by recorded time and without sleeping: the same verdicts each time.

The marks that live listening leaves in its capture say what a verdict depends on beyond the traffic (all by `kind`):

listening     listening began: acknowledge, troubles {bus: why its adapter did not open}
power_on      the units got power
bus_judged    a bus was judged: bus, and what its adapter said of itself (AdapterSaid)
line_begun    a talker's tally began: link, sender
line_judged   it was judged: link, sender, and identity and state of the port, or why there is none; speed, where it
              was looked for (SpeedSaid)
earlier       a step rests on what was read for another one: step, of, reading
gap           not everything was recorded for a time (pcapng_form): what was judged after it was judged with it
step_judged   a step was judged: step, state (of the bench)
step_skipped  a step was left out: step, reason, why

They stand in the file behind the traffic that had been taken when they were written, so a replay goes by the file's
order: what stands before a mark is what the live run judged. Steps without a mark, and all of a capture that has none
of these marks, are judged from what was heard up to the end, or up to where the part that is asked for ends.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from benchcheck.capture.recording import LineChunk, Mark, Recording
from benchcheck.checks.kind import Context, all_kinds
from benchcheck.checks.link_alive import NO_IDLE
from benchcheck.harness.model import Harness
from benchcheck.jobs.listening.heard import SECOND_NS, AdapterSaid, Listened, bus_reading, line_reading
from benchcheck.traffic.lines.line_speed import SpeedSaid
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.protocols import protocol_of
from benchcheck.traffic.presence.expectations import expectations
from benchcheck.traffic.presence.presence import watch_of
from benchcheck.traffic.signals.signal_ranges import wanted_signals
from benchcheck.traffic.signals.signal_tallies import with_signals
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.words.bench_state import BenchState
from benchcheck.words.frames import FrameBatch
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState, reading_from_json
from benchcheck.words.recorder_gap import RecorderGap
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome, Verdict

ONLY_TRAFFIC = "a capture holds traffic only"
STEP_MARKS = frozenset({"step_judged", "step_skipped"})


@dataclass(frozen=True, slots=True)
class Part:
    """The part of a recording from `from_s` to before `to_s`, in seconds since its first record; None: open there."""

    from_s: float | None = None
    to_s: float | None = None

    @property
    def is_whole(self) -> bool:
        return self.from_s is None and self.to_s is None


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay came to: the results in the plan's order, and how many of them a mark of the live run timed."""

    results: tuple[Result, ...]
    marked: int
    frames: int
    notes: tuple[str, ...]


class _Listening:
    """What was heard since a listening began, and the readings that it gave."""

    def __init__(self, harness: Harness, start_ns: int, *, acknowledge: bool, troubles: Mapping[str, str]) -> None:
        self.harness = harness
        self.start_ns = start_ns
        self.power_on_ns: int | None = None
        self.acknowledge = acknowledge
        self.troubles = troubles
        self.expected = {bus.name: expectations(harness, bus) for bus in harness.buses}
        self.tally = TrafficTally(
            watch={
                number: with_signals(watch_of(self.expected[bus.name]), wanted_signals(harness, bus))
                for number, bus in enumerate(harness.buses)
            }
        )
        self.lines: dict[tuple[str, str], LineTally] = {}
        self.begun: dict[tuple[str, str], int] = {}  # when
        self.heard: dict[str, Reading] = {}
        self.heard_lines: dict[tuple[str, str], Reading] = {}

    def judge_bus(self, number: int, said: AdapterSaid, end_ns: int, gaps: Sequence[RecorderGap]) -> Reading:
        name = self.harness.buses[number].name
        listened = Listened(self.start_ns, end_ns, self.power_on_ns, self.acknowledge)
        mine = [gap for gap in gaps if gap.end_ns > self.start_ns]
        return bus_reading(self.harness, number, self.tally, self.expected[name], said, listened, mine)


class Replay:
    """One replay of a recording against a profile; `run` may be called once.

    buses, units   judge only the steps that are about one of these; empty: all. The traffic that is counted is always
                   that of the whole bus, or its load and its strangers would be wrong
    """

    def __init__(
        self,
        recording: Recording,
        harness: Harness,
        part: Part | None = None,
        *,
        buses: Collection[str] = (),
        units: Collection[str] = (),
    ) -> None:
        self._recording = recording
        self._harness = harness
        self._part = part or Part()
        wanted = [step for step in live_steps(harness) if is_about(step, buses, units)]
        self._steps = {step.id: step for step in wanted}
        self._numbers = {bus.name: number for number, bus in enumerate(harness.buses)}
        self._listening: _Listening | None = None
        self._results: dict[str, Result] = {}
        self._first_ns: int | None = None
        self._last_ns: int | None = None
        self._notes: list[str] = []
        self._frames = 0
        self._by_marks = False
        self._adapters: dict[str, AdapterSaid] = {}
        self._earlier: dict[tuple[str, str], Reading] = {}  # by step, and the one it rests on

    def run(self) -> Replayed:
        """Read to the end, to the damage or to the end of the part, and judge every step of the live stage."""
        for item in self._recording:
            if isinstance(item, Mark):
                self._see(item.time_ns)
                self._take_mark(item)
            elif isinstance(item, LineChunk):
                self._see(item.time_ns)
                if not item.sent and self._within(item.time_ns):
                    self._take_line(item)
            elif len(item):
                self._see(int(item.time_ns[0]))
                self._take_frames(item)
        marked = len(self._results)
        for step in self._steps.values():
            if step.id not in self._results:
                self._judge(step, None)
        results = tuple(self._results[name] for name in self._steps)
        return Replayed(results, marked, self._frames, tuple(self._notes))

    # --- what comes -------------------------------------------------------------------------------------------

    def _see(self, time_ns: int) -> None:
        if self._first_ns is None:
            self._first_ns = time_ns

    def _bound(self, at_s: float | None) -> int | None:
        return None if at_s is None else (self._first_ns or 0) + round(at_s * SECOND_NS)

    def _within(self, time_ns: int) -> bool:
        begin, end = self._bound(self._part.from_s), self._bound(self._part.to_s)
        within = (begin is None or time_ns >= begin) and (end is None or time_ns < end)
        if within:
            self._last_ns = time_ns if self._last_ns is None else max(time_ns, self._last_ns)
        return within

    def _now(self) -> _Listening:
        """The listening that goes on; without a mark it began with the first record."""
        if self._listening is None:
            start = self._bound(self._part.from_s)
            start = self._first_ns or 0 if start is None else start
            self._listening = _Listening(self._harness, start, acknowledge=False, troubles={})
        return self._listening

    def _table(self) -> list[int]:
        """For each bus of the recording its number in the profile, or -1."""
        if len(self._recording.buses) == 1 and len(self._harness.buses) == 1:
            return [0]  # as in a survey: the only bus of both is that bus, whatever a log calls it
        return [self._numbers.get(bus.name, -1) for bus in self._recording.buses]

    def _take_frames(self, batch: FrameBatch) -> None:
        import numpy as np

        number = np.array(self._table(), np.int64)[batch.bus]
        keep = number >= 0
        begin, end = self._bound(self._part.from_s), self._bound(self._part.to_s)
        if begin is not None:
            keep &= batch.time_ns >= begin
        if end is not None:
            keep &= batch.time_ns < end
        taken = FrameBatch(
            batch.time_ns[keep],
            number[keep].astype(np.uint16),
            batch.can_id[keep],
            batch.flags[keep],
            batch.length[keep],
            batch.data[keep],
        )
        if len(taken):
            self._within(int(taken.time_ns.max()))
            self._frames += len(taken)
            self._now().tally.update(taken)

    def _take_line(self, chunk: LineChunk) -> None:
        link_name, _, sender = self._recording.lines[chunk.line].name.partition(":")
        link = next((entry for entry in self._harness.links if entry.name == link_name), None)
        if link is not None:
            tally = self._now().lines.setdefault((link_name, sender), LineTally(protocol_of(link)))
            tally.feed(chunk.data, chunk.time_ns, framing_errors=chunk.framing_errors)

    def _take_mark(self, mark: Mark) -> None:
        body, within = mark.body, self._within(mark.time_ns)
        if mark.kind == "listening":
            self._begin(mark)
        elif mark.kind == "power_on":
            begin = self._bound(self._part.from_s)
            if begin is None or mark.time_ns >= begin:  # from later on, who was up already can't be called late
                self._now().power_on_ns = mark.time_ns
        elif mark.kind == "bus_judged":
            self._bus_judged(str(body.get("bus")), AdapterSaid.from_json(body), mark.time_ns, within=within)
        elif mark.kind == "line_begun" and within:
            key = (str(body.get("link")), str(body.get("sender")))
            self._now().lines.pop(key, None)
            self._now().begun[key] = mark.time_ns
        elif mark.kind == "earlier":
            self._note_earlier(body)
        elif mark.kind == "line_judged" and within:
            self._line_judged(body, mark.time_ns)
        elif mark.kind in STEP_MARKS and (step := self._steps.get(str(body.get("step")))) is not None:
            if mark.kind == "step_skipped":
                why, reason = str(body.get("why")), str(body.get("reason"))
                self._results[step.id] = Result(step, Reading.none(why), Verdict(Outcome.SKIPPED, reason, why))
            elif within:
                self._judge(step, body.get("state"))
            else:
                self._results.pop(step.id, None)  # done after all, in a time that was not asked for

    def _begin(self, mark: Mark) -> None:
        self._by_marks = True
        begin, end = self._bound(self._part.from_s), self._bound(self._part.to_s)
        if end is not None and mark.time_ns >= end:
            return
        troubles = mark.body.get("troubles")
        self._listening = _Listening(
            self._harness,
            mark.time_ns if begin is None else max(begin, mark.time_ns),
            acknowledge=mark.body.get("acknowledge") is True,
            troubles={str(k): str(v) for k, v in troubles.items()} if isinstance(troubles, Mapping) else {},
        )

    def _bus_judged(self, name: str, said: AdapterSaid | None, end_ns: int, *, within: bool) -> None:
        number = self._numbers.get(name)
        if number is None or said is None:
            return
        if self._recording.bad_records:  # what could not be read may be what is not there
            said = replace(said, dropped=said.dropped + self._recording.bad_records)
        self._adapters[name] = said
        if within:
            self._now().heard[name] = self._now().judge_bus(number, said, end_ns, self._gaps_of_bus(number))

    def _gaps_of_bus(self, number: int) -> list[RecorderGap]:
        names = [info.name for at, info in enumerate(self._recording.buses) if self._table()[at] == number]
        names = names or [self._harness.buses[number].name]
        return [gap for gap in self._recording.recorder_gaps if any(gap.is_of_bus(name) for name in names)]

    def _line_gap(self, key: tuple[str, str], end_ns: int) -> RecorderGap | None:
        """A gap of the recorder while a line was listened to."""
        start_ns = self._now().begun.get(key, self._now().start_ns)
        name = ":".join(key)
        return next(
            (
                gap
                for gap in self._recording.recorder_gaps
                if gap.is_of_line(name) and gap.start_ns < end_ns and gap.end_ns > start_ns
            ),
            None,
        )

    def _note_earlier(self, body: Mapping[str, object]) -> None:
        reading = body.get("reading")
        if isinstance(reading, Mapping):
            with suppress(ValueError, KeyError, TypeError):  # a mark that makes no sense tells nothing
                self._earlier[str(body.get("step")), str(body.get("of"))] = reading_from_json(reading)

    def _line_judged(self, body: Mapping[str, object], end_ns: int) -> None:
        key = (str(body.get("link")), str(body.get("sender")))
        link = next((entry for entry in self._harness.links if entry.name == key[0]), None)
        now = self._now()
        if isinstance(body.get("why"), str):
            now.heard_lines[key] = Reading.none(str(body["why"]), "bytes")
        elif (gap := self._line_gap(key, end_ns)) is not None:
            now.heard_lines[key] = Reading.none(_unrecorded(gap), "bytes")
        elif link is not None and (self._part.is_whole or key in now.begun):
            talk = next((entry for entry in link.talks if entry.sender == key[1]), None)
            if talk is not None:
                tally, speed = (
                    now.lines.get(key) or LineTally(protocol_of(link)),
                    SpeedSaid.from_json(body.get("speed")),
                )
                identity, state = str(body.get("identity")), str(body.get("state"))
                now.heard_lines[key] = line_reading(link, talk, tally, identity, state, speed)

    # --- what is asked ----------------------------------------------------------------------------------------

    def _judge(self, step: Step, state: object) -> None:
        measuring = all_kinds()[step.check].measure(step)
        try:
            request = next(measuring)
            while True:
                request = measuring.send(self._answer(step, request))
        except StopIteration as stop:
            judged = stop.value
        seen = step
        if state is not None:
            try:
                seen = replace(step, state=BenchState.from_json(state))
            except ValueError:
                self._notes.append(f"the mark of {step.id} does not say in which state of the bench it was judged")
        self._results[step.id] = Result(seen, judged.reading, judged.verdict)

    def _answer(self, step: Step, request: Request) -> Reading:
        if request.quantity is Quantity.EARLIER:
            known = self._earlier.get((step.id, request.source))
            return known or Reading(ReadingState.NONE, "", detail={"why": ONLY_TRAFFIC, NO_IDLE: None})
        if request.quantity is Quantity.CAN:
            return self._bus(request.source)
        if request.quantity is Quantity.LINE:
            return self._line(request.source, request.sender)
        return Reading.none(ONLY_TRAFFIC)

    def _bus(self, name: str) -> Reading:
        """The reading of a bus, the same for every check that asks; judged at the end where no mark says when."""
        now = self._now()
        if name not in now.heard:
            now.heard[name] = self._bus_at_the_end(now, name)
        return now.heard[name]

    def _bus_at_the_end(self, now: _Listening, name: str) -> Reading:
        number, recording = self._numbers[name], self._recording
        if name in now.troubles:
            return Reading.none(now.troubles[name], "frames")
        if recording.truncated:
            return Reading.none(f"the capture {_damage(recording)}", "frames")
        if self._by_marks and self._part.is_whole:
            return Reading.none("the capture ends before this bus was judged", "frames")
        found = now.tally.buses.get(number)
        said = self._adapters.get(name) or AdapterSaid(
            "as captured",
            "listening",
            "the capture does not say whether the bench was silent",
            bool(found is not None and found.error_frames),
            recording.dropped_frames + recording.bad_records,
        )
        end = self._bound(self._part.to_s)
        last = now.start_ns if self._last_ns is None else self._last_ns
        end_ns = max(now.start_ns, last if end is None else min(end, last))
        return now.judge_bus(number, said, end_ns, self._gaps_of_bus(number))

    def _line(self, link_name: str, sender: str) -> Reading:
        now, key = self._now(), (link_name, sender)
        if key in now.heard_lines:
            return now.heard_lines[key]
        if self._recording.truncated:
            return Reading.none(f"the capture {_damage(self._recording)}", "bytes")
        if not self._part.is_whole:
            return Reading.none("this part of the capture does not hold the whole listening to this line", "bytes")
        if self._by_marks:
            return Reading.none("the capture ends before this line was judged", "bytes")
        if not any(line.name == f"{link_name}:{sender}" for line in self._recording.lines):
            return Reading.none("this line was not listened to in the capture", "bytes")
        if (gap := self._line_gap(key, now.start_ns if self._last_ns is None else self._last_ns)) is not None:
            return Reading.none(_unrecorded(gap), "bytes")
        link = next(entry for entry in self._harness.links if entry.name == link_name)
        talk = next(entry for entry in link.talks if entry.sender == sender)
        return line_reading(link, talk, now.lines.get(key) or LineTally(protocol_of(link)), "as captured", "listening")


def live_steps(harness: Harness) -> list[Step]:
    """The steps of the live stage in the plan's order; no meter has a say in them, and no other stage is planned."""
    context = Context(harness, MeterSpec())
    kinds = sorted((kind for kind in all_kinds().values() if kind.stage is Stage.LIVE), key=lambda kind: kind.rank)
    return [step for kind in kinds for step in sorted(kind.steps(context), key=lambda step: step.id)]


def is_about(step: Step, buses: Collection[str], units: Collection[str]) -> bool:
    """Whether a step of the live stage is about one of these buses and one of these units; empty: any."""
    return (not buses or step.settings.get("bus") in buses) and (not units or step.settings.get("unit") in units)


def _unrecorded(gap: RecorderGap) -> str:
    why = f" ({gap.why})" if gap.why else ""
    return f"not everything was recorded while this line was listened to{why}"


def _damage(recording: Recording) -> str:
    return next((note for note in recording.notes if note.startswith(("damaged", "can't"))), "is damaged")
