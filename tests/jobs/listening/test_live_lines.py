"""Lines in the live stage on the model bench, and the same told again from the capture that it left.

Framing-error marks don't cross a pseudo-terminal, and the model has none: `Marking` stands in at the port's edge.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from model_bench import Job, job_on, shipped

from benchcheck.bench.clock import FakeClock
from benchcheck.bench.lines.serial_line import HeardBytes
from benchcheck.capture.logs import open_recording
from benchcheck.checks.kind import Context
from benchcheck.harness.line_protocol import Checksum, ChecksumKind, TextProtocol
from benchcheck.harness.model import Harness, Link
from benchcheck.jobs.bodies import reading_body
from benchcheck.jobs.listening.capture_file import CaptureFile
from benchcheck.jobs.listening.live_listening import ListenLine, LiveListening
from benchcheck.jobs.playing.replay import Replay
from benchcheck.plan.plan import make_plan
from benchcheck.simulator.faults import DeadTransmitter, ExchangedTalkers, Fault, InvertedLevels, SilentUnit, WrongBaud
from benchcheck.words.event import EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.result import Result
from benchcheck.words.step import Stage

POSITION = "link_alive:position:GPS"


def with_link(change: Callable[[Link], Link]) -> Harness:
    """The starter, with its one link changed."""
    harness = shipped("starter")[0]
    link = change(harness.links[0])
    return replace(harness, links=(link,), protocols=(link.described,) if link.described else ())


def job_of(
    folder: Path, *faults: Fault, harness: Harness | None = None, bench: Harness | None = None
) -> tuple[Job, Path]:
    """All stages of a job of this harness, on a bench that may be wired or set otherwise; and its capture."""
    harness = harness or shipped("starter")[0]
    sink = CaptureFile(folder / "live.pcapng", harness)
    try:
        plan, context = make_plan(harness, MeterSpec()), Context(harness, MeterSpec())
        made = job_on(harness, plan, context, faults, capture=sink, bench_harness=bench)
        made.run()
    finally:
        sink.close()
    return made, sink.path


def result_of(made: Job, step: str = POSITION) -> tuple[str, str, str]:
    found = made.runner.board.results[step]
    return found.outcome.value, found.verdict.reason, found.verdict.text


def told_again(made: Job, path: Path) -> dict[str, Result]:
    """What a replay says; held to the record byte for byte."""
    with open_recording(path) as recording:
        replayed = {found.step.id: found for found in Replay(recording, made.runner.harness).run().results}
    told = {
        str(body["step"]): json.dumps(body)
        for body in made.record.bodies(EventKind.READING)
        if body["stage"] == Stage.LIVE.value
    }
    assert {name: json.dumps(reading_body(found)) for name, found in replayed.items()} == told
    return replayed


@pytest.mark.parametrize("sent", [9600, 38400, 2400])
def test_another_speed_is_found_by_listening_and_told_again(tmp_path: Path, sent: int) -> None:
    made, path = job_of(tmp_path, WrongBaud("position", "GPS", sent))
    outcome, reason, text = result_of(made)
    assert (outcome, reason) == ("FAIL", "wrong_speed")
    assert text.startswith(f"looks like {sent} 8N1, profile says 4800 8N1: ")
    assert told_again(made, path)[POSITION].reading.detail["speed"]
    assert [kind for kind, _ in made.squawks] == ["wrong_baud"]


def test_a_profile_without_a_speed(tmp_path: Path) -> None:
    """The bench talks at 9,600 where the profile says nothing."""
    made, path = job_of(tmp_path, harness=with_link(lambda link: replace(link, baud=0)))
    outcome, reason, text = result_of(made)
    assert (outcome, reason) == ("PASS", "alive")
    assert "the profile gives no speed; it is 9600 8N1, by " in text
    assert told_again(made, path)[POSITION].reading.detail["types_sound"]


def test_a_profile_without_a_speed_on_the_line_that_is_tried_first(tmp_path: Path) -> None:
    made, path = job_of(
        tmp_path, WrongBaud("position", "GPS", 4800), harness=with_link(lambda link: replace(link, baud=0))
    )
    assert result_of(made)[:2] == ("PASS", "alive")
    assert "the profile gives no speed; it is 4800 8N1" in result_of(made)[2]
    told_again(made, path)


def test_a_silent_talker_is_no_matter_of_speed(tmp_path: Path) -> None:
    made, path = job_of(tmp_path, SilentUnit("GPS"))
    outcome, reason, text = result_of(made)
    assert (outcome, reason) == ("FAIL", "silent")
    assert "nothing was heard on this wire, which is held at -" in text
    assert told_again(made, path)[POSITION].reading.detail["speed"] is None


def test_inverted_levels_by_the_meter_and_the_line_together(tmp_path: Path) -> None:
    made, path = job_of(tmp_path, InvertedLevels("P1-3"))
    assert made.runner.board.results["rs232_idle:position:GPS"].verdict.reason == "inverted"
    outcome, reason, text = result_of(made)
    assert (outcome, reason) == ("FAIL", "inverted")
    assert "while idle: inverted levels, or the wrong wire of the pair" in text
    told_again(made, path)
    assert [(kind, where) for kind, where in made.squawks] == [("inverted_levels", ("P1-3",))]


def test_a_wire_that_nothing_drives_is_unsure_and_told_again(tmp_path: Path) -> None:
    made, path = job_of(tmp_path, DeadTransmitter("P1-3"))
    assert result_of(made)[:2] == ("UNSURE", "no_driven_level")
    told_again(made, path)


def test_an_idle_level_that_was_left_out_is_asked_for(tmp_path: Path) -> None:
    """The live stage alone, of a job in which the level was never read."""
    harness, plan, context = shipped("starter")
    made = job_on(harness, plan, context)
    made.run((Stage.DEAD,))
    for step in plan.of_stage(Stage.POWER):
        if step.check != "rs232_idle":
            made.runner.run_step(step)
    made.run((Stage.LIVE,))
    outcome, reason, text = result_of(made)
    assert (outcome, reason) == ("UNSURE", "idle_not_known")
    assert "it was not read in this job" in text
    assert made.bench.model.taps == {}


def test_two_talkers_exchanged(tmp_path: Path) -> None:
    harness, plan, context = shipped("survey_launch")
    sink = CaptureFile(tmp_path / "live.pcapng", harness)
    faults = (ExchangedTalkers("position", "GNSS", "depth", "SONAR"),)
    made = job_on(harness, plan, context, faults, capture=sink)
    made.run()
    sink.close()
    outcome, reason, text = result_of(made, "link_alive:position:GNSS")
    assert (outcome, reason) == ("FAIL", "wrong_talker")
    assert "heard SDDBT, SDDPT, which is what SONAR on depth should say" in text
    (squawk,) = made.runner.board.squawks
    assert squawk.where == ("depth", "SONAR", "position", "GNSS") or squawk.where == (
        "position",
        "GNSS",
        "depth",
        "SONAR",
    )
    told_again(made, sink.path)


@pytest.mark.parametrize(("period_s", "reason"), [(2.0, "too_slow"), (0.4, "too_fast"), (1.0, "alive")])
def test_how_often_it_talks(tmp_path: Path, period_s: float, reason: str) -> None:
    """The bench's talker keeps another period than the profile states."""

    def talking(every_s: float) -> Harness:
        return with_link(lambda link: replace(link, talks=(replace(link.talks[0], period_s=every_s, is_timed=True),)))

    made, path = job_of(tmp_path, harness=talking(1.0), bench=talking(period_s))
    assert result_of(made)[:2] == ("PASS" if reason == "alive" else "FAIL", reason)
    told_again(made, path)
    assert [kind for kind, _ in made.squawks] == ([] if reason == "alive" else ["wrong_rate"])


TIDE = TextProtocol("tide", b"\r\n", r"#(LEVEL|BATT),[0-9.]+", Checksum(ChecksumKind.XOR, b"*", b"#"))


def speaking(protocol: TextProtocol, *types: str) -> Harness:
    return with_link(
        lambda link: replace(
            link, protocol=protocol.name, described=protocol, talks=(replace(link.talks[0], types=types, period_s=0.5),)
        )
    )


def test_a_described_protocol_live_and_again(tmp_path: Path) -> None:
    made, path = job_of(tmp_path, harness=speaking(TIDE, "LEVEL", "BATT"))
    assert result_of(made)[:2] == ("PASS", "alive")
    assert set(told_again(made, path)[POSITION].reading.detail["types_sound"]) == {"LEVEL", "BATT"}  # type: ignore[call-overload]


def test_the_speed_of_a_described_protocol_is_found(tmp_path: Path) -> None:
    made, path = job_of(tmp_path, WrongBaud("position", "GPS", 19200), harness=speaking(TIDE, "LEVEL"))
    assert result_of(made)[:2] == ("FAIL", "wrong_speed")
    assert "looks like 19200 8N1" in result_of(made)[2]
    told_again(made, path)


def test_another_described_protocol_than_the_profiles_is_garbage(tmp_path: Path) -> None:
    other = TextProtocol("tide", b"\r\n", r"#(LEVEL|BATT),[0-9.]+", Checksum(ChecksumKind.SUM, b"*", b"#"))
    made, path = job_of(tmp_path, harness=speaking(TIDE, "LEVEL"), bench=speaking(other, "LEVEL"))
    assert result_of(made)[:2] == ("FAIL", "bad_checksums")
    told_again(made, path)


class Marking:
    """Takes the place of a listener: every fifth byte came with a framing error, as a port that marks them says."""

    def __init__(self, line: object) -> None:
        self._line = line
        self.identity, self.state = "a port that marks", "listening"

    def set_speed(self, baud: int, framing: str = "8N1") -> None:
        self._line.set_speed(baud, framing)  # type: ignore[attr-defined]

    def drain(self) -> list[HeardBytes]:
        return [chunk._replace(framing_errors=len(chunk.data) // 5) for chunk in self._line.drain()]  # type: ignore[attr-defined]


def test_framing_errors_are_in_the_words_and_in_the_capture(tmp_path: Path) -> None:
    harness, plan, context = shipped("starter")
    sink = CaptureFile(tmp_path / "live.pcapng", harness)
    made = job_on(harness, plan, context, [WrongBaud("position", "GPS", 31250)], capture=sink)  # no speed that is tried
    marking, plain = Marking(made.bench._line), made.bench.line

    def line(name: str, baud: int, framing: str) -> object:
        plain(name, baud, framing)
        return marking

    made.bench.line = line  # type: ignore[assignment, method-assign]
    made.run()
    sink.close()
    outcome, reason, text = result_of(made)
    assert (outcome, reason) == ("FAIL", "garbage")
    assert " with a framing error), but no good sentence" in text
    assert made.runner.board.results[POSITION].reading.detail["framing_errors"]
    told_again(made, sink.path)


def test_a_listening_alone_takes_the_profile_s_protocol_too() -> None:
    bench = SimpleNamespace(clock=FakeClock())
    asked = ListenLine("tap1", "position:GPS", "tide", 9600, "8N1")
    live = LiveListening(bench, [], [asked], speaking(TIDE, "LEVEL"))  # type: ignore[arg-type]
    assert [line.tally.protocol for line in live._lines] == ["tide"]
