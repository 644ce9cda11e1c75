"""A capture replayed gives the verdicts that the live run gave."""

from __future__ import annotations

from pathlib import Path

import pytest
from frame_rows import Row, batch_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from model_bench import Job, shipped
from replayed import PROFILE, by_id, live, replay, text_of, told_again, told_live

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.recording import LineChunk
from benchcheck.jobs.bodies import reading_body
from benchcheck.jobs.playing.replay import Part, live_steps
from benchcheck.simulator.faults import IntermittentUnit, LateUnit, SilentUnit
from benchcheck.words.frames import FrameBatch
from benchcheck.words.reading import ReadingState
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

CAPTURES = Path(__file__).parents[3] / "captures"
START = 1_900_000_000_000_000_000
MS = 1_000_000


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Path]:
    faults = (SilentUnit("TIDE"), LateUnit("HELM", 2.0), IntermittentUnit("WINCH", 1.2, 0.9))
    return live(tmp_path_factory.mktemp("faulty"), *faults)


@pytest.mark.parametrize("acknowledge", [True, False])
def test_a_replay_tells_byte_for_byte_what_the_live_run_told(tmp_path: Path, acknowledge: bool) -> None:
    made, path = live(tmp_path, LateUnit("NAV", 0.7), acknowledge=acknowledge)
    replayed = replay(path)
    told = told_live(made)
    assert {r.step.id: told_again(r) for r in replayed.results} == {
        r.step.id: told[r.step.id] for r in replayed.results
    }
    assert replayed.marked == len(replayed.results) > 10


def test_a_replay_finds_what_failed_live(faulty: tuple[Job, Path]) -> None:
    made, path = faulty
    replayed, told = replay(path), told_live(made)
    for result in replayed.results:
        assert told_again(result) == told[result.step.id]
    failed = {result.step.id for result in replayed.results if result.outcome is Outcome.FAIL}
    assert {f"unit_heard:can1:{unit}" for unit in ("TIDE", "HELM", "WINCH")} <= failed


def test_a_replay_gives_the_same_each_time(faulty: tuple[Job, Path]) -> None:
    first, second = ([told_again(result) for result in replay(faulty[1]).results] for _ in range(2))
    assert first == second


def without_marks(name: str, folder: Path, *kept: str) -> Path:
    """A sample as a recorder that leaves no marks would have written it, or only these."""
    path = folder / f"{name}.pcapng"
    with open_recording(CAPTURES / f"{name}.pcapng") as recording, CaptureWriter(path) as writer:
        buses: dict[int, int] = {}
        lines: dict[int, int] = {}
        for item in recording:
            if isinstance(item, FrameBatch):
                for number, info in enumerate(recording.buses):
                    if number not in buses:
                        buses[number] = writer.add_bus(info.name, info.bitrate)
                writer.write_frames(buses[int(item.bus[0])], item)
            elif isinstance(item, LineChunk):
                line = recording.lines[item.line]
                if item.line not in lines:
                    lines[item.line] = writer.add_line(line.name, line.protocol, line.baud)
                writer.write_bytes(lines[item.line], item.time_ns, item.data)
            elif item.kind in kept:
                writer.mark(item.time_ns, item.kind, item.body)
    return path


@pytest.mark.parametrize(("name", "failed"), [("good", set()), ("faults", {"HELM", "TIDE", "WINCH"})])
@pytest.mark.parametrize("marked", [True, False])
def test_the_samples_are_judged_with_marks_and_without(
    tmp_path: Path, name: str, failed: set[str], marked: bool
) -> None:
    sample = f"launch_{name}"
    replayed = replay(CAPTURES / f"{sample}.pcapng" if marked else without_marks(sample, tmp_path, "power_on"))
    assert replayed.marked == (len(replayed.results) if marked else 0)
    heard = {r.step.settings["unit"]: r.outcome for r in replayed.results if r.step.check == "unit_heard"}
    assert {unit for unit, outcome in heard.items() if outcome is Outcome.FAIL} == failed
    # no error frame in it, and nothing that says that its adapter would have reported one
    assert by_id(replayed)["bus_errors:can1"].outcome is Outcome.UNSURE


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
@pytest.mark.parametrize("marked", [True, False])
def test_a_damaged_capture_fails_nobody_beyond_the_damage(
    tmp_path: Path, faulty: tuple[Job, Path], share: float, marked: bool
) -> None:
    whole = (faulty[1] if marked else without_marks("launch_faults", tmp_path)).read_bytes()
    cut = tmp_path / "cut.pcapng"
    cut.write_bytes(whole[: int(len(whole) * share) // 4 * 4 + 2])
    replayed = replay(cut)
    left = [r for r in replayed.results if r.outcome is Outcome.UNSURE]
    assert left
    before = by_id(replay(faulty[1])) if marked else {}
    for result in replayed.results:
        if result in left:
            continue
        assert marked  # without marks nothing is known to have been judged before the damage
        assert result.verdict == before[result.step.id].verdict
    # behind 95 % of it every bus and line had been judged, and only the adapter's own silence is left
    assert any("damaged from byte" in r.verdict.text for r in left) == (share < 0.9 or not marked)


@pytest.mark.parametrize("part", [Part(None, 0.3), Part(0.1, 0.3), Part(1e6, None)])
def test_a_part_fails_nobody_for_what_it_leaves_out(faulty: tuple[Job, Path], part: Part) -> None:
    assert Outcome.FAIL not in {result.outcome for result in replay(faulty[1], part).results}


def test_who_was_up_before_a_part_begins_is_not_late() -> None:
    path = CAPTURES / "launch_faults.pcapng"
    assert by_id(replay(path))["unit_heard:can1:HELM"].verdict.reason == "late"
    assert by_id(replay(path, Part(5.0, None)))["unit_heard:can1:HELM"].verdict.reason != "late"


def test_steps_are_chosen_by_bus_and_unit_and_counted_as_ever(faulty: tuple[Job, Path]) -> None:
    whole = by_id(replay(faulty[1]))
    one = replay(faulty[1], units=("WINCH",))
    assert {result.step.settings["unit"] for result in one.results} == {"WINCH"}
    assert all(told_again(result) == told_again(whole[result.step.id]) for result in one.results)
    assert {r.step.settings["bus"] for r in replay(faulty[1], buses=("can1",)).results} == {"can1"}


@pytest.mark.parametrize("profile", ["starter", PROFILE])
def test_the_steps_are_those_of_the_plan_in_its_order(profile: str) -> None:
    harness, plan, _ = shipped(profile)
    assert [step.id for step in live_steps(harness)] == [step.id for step in plan.of_stage(Stage.LIVE)]


def test_nothing_in_it_proves_nothing(tmp_path: Path) -> None:
    with CaptureWriter(tmp_path / "empty.pcapng") as writer:
        writer.add_bus("can1", 250_000)
    replayed = replay(tmp_path / "empty.pcapng")
    assert {result.outcome for result in replayed.results} == {Outcome.UNSURE}
    assert {result.reading.state for result in replayed.results if result.step.check == "link_alive"} == {
        ReadingState.NONE
    }


def test_another_bus_is_not_taken_for_one_of_the_profile(tmp_path: Path) -> None:
    rows: list[Row] = [(START + k * 10 * MS, 1, 0x0A0, 0, bytes(8)) for k in range(50)]
    with CaptureWriter(tmp_path / "two.pcapng") as writer:
        writer.add_bus("elsewhere", 250_000)
        other = writer.add_bus("can9", 250_000)
        writer.write_frames(other, batch_of(rows))
    assert replay(tmp_path / "two.pcapng").frames == 0


KINDS = ("listening", "power_on", "bus_judged", "line_begun", "line_judged", "step_judged", "step_skipped", "earlier")
READINGS = st.fixed_dictionaries(
    {"state": st.sampled_from(["value", "none", "x"]), "unit": st.just("V")},
    optional={"value": st.floats(allow_nan=False, allow_infinity=False) | st.just("x"), "uncertainty": st.just("x")},
)
SPEEDS = st.fixed_dictionaries(
    {
        "state": st.just("found"),
        "text": st.text(max_size=3),
        "framing": st.just("8N1"),
        "baud": st.just(1) | st.just("1"),
    },
    optional={"as_planned": st.booleans() | st.just("x")},
)
VALUES = st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.text(max_size=5) | st.just(["x"])
NAMES = st.sampled_from(("can1", "position", "NAV", "unit_heard:can1:NAV", "link_alive:position:GNSS"))
KEYS = ("bus", "link", "sender", "step", "state", "reason", "why", "identity", "passive", "troubles", "dropped")
MARKS = st.lists(
    st.tuples(st.sampled_from(KINDS), st.integers(-5000, 5000), st.dictionaries(st.sampled_from(KEYS), VALUES | NAMES)),
    max_size=8,
)
# marks of lines whose parts make sense to no more than a degree
LINE_MARKS = st.lists(
    st.one_of(
        st.tuples(
            st.just("earlier"),
            st.just(0),
            st.fixed_dictionaries(
                {
                    "step": st.just("link_alive:position:GNSS"),
                    "of": st.just("rs232_idle:position:GNSS") | VALUES,
                    "reading": READINGS | VALUES,
                }
            ),
        ),
        st.tuples(
            st.sampled_from(["line_begun", "line_judged"]),
            st.just(0),
            st.fixed_dictionaries(
                {"link": st.just("position"), "sender": st.just("GNSS") | st.just("x"), "speed": SPEEDS | VALUES}
            ),
        ),
        st.tuples(st.just("step_judged"), st.just(0), st.just({"step": "link_alive:position:GNSS"})),
    ),
    max_size=6,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(MARKS | LINE_MARKS)
def test_marks_that_make_no_sense_end_in_words(tmp_path: Path, marks: list[tuple[str, int, dict[str, object]]]) -> None:
    path = tmp_path / "odd.pcapng"
    path.unlink(missing_ok=True)
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1", 250_000)
        for number, (kind, at_ms, body) in enumerate(marks):
            writer.write_frames(bus, batch_of([(START + number * MS, 0, 0x080, 0, bytes(8))]))
            writer.mark(START + at_ms * MS, kind, body)
    _, plan, _ = shipped(PROFILE)
    replayed = replay(path)
    assert len(replayed.results) == len(plan.of_stage(Stage.LIVE))
    for result in replayed.results:
        text_of(reading_body(result))
