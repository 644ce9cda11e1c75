"""`benchcheck demo` as a user runs it: processes of its own, real pseudo-terminals, real drivers, files on the disk.

Each run takes as long as the units need to boot and be heard, so there are few, shared by the tests of this file.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchcheck.capture.pcapng_reader import CaptureReader
from benchcheck.capture.recording import Mark
from benchcheck.cli.demo import _new_folder
from benchcheck.cli.main import run
from benchcheck.plan.plan import make_plan
from benchcheck.profile.find import find_profile
from benchcheck.profile.load import load_profile
from benchcheck.record.store import JobRecord
from benchcheck.record.verify import verify_record
from benchcheck.words.event import EventKind

ENDS_WITHIN_S = 180.0  # a run that hangs is ended; nothing is measured by it


@dataclass
class Run:
    code: int
    out: str
    err: str
    folder: Path
    truth: list[dict[str, Any]]

    @property
    def report(self) -> dict[str, Any]:
        document = json.loads((self.folder / "report.json").read_text(encoding="utf-8"))
        assert isinstance(document, dict)
        return document

    @property
    def squawks(self) -> list[tuple[str, tuple[str, ...]]]:
        return [(s["kind"], tuple(s["where"])) for s in self.report["squawks"]]


def benchcheck(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "benchcheck", *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=ENDS_WITHIN_S,
        check=False,
    )


def demo(folder: Path, *options: str) -> Run:
    truth = folder / "truth.json"
    done = benchcheck("demo", "--out", str(folder / "out"), "--truth", str(truth), *options, cwd=folder)
    planted = json.loads(truth.read_text(encoding="utf-8")) if truth.is_file() else []
    return Run(done.returncode, done.stdout, done.stderr, folder / "out", planted)


def compare(done: Run) -> None:
    """Each planted fault is one squawk of its kind that names its place, and there is no other."""
    left = list(done.squawks)
    for fault in done.truth:
        match = [s for s in left if s[0] == fault["kind"] and set(fault["where"]) <= set(s[1])]
        assert len(match) == 1, f"planted {fault['kind']} at {fault['where']}, found {left}"
        left.remove(match[0])
    assert left == []


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return demo(tmp_path_factory.mktemp("faulty"), "--transport", "pty", "--json")


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return demo(tmp_path_factory.mktemp("clean"), "--clean", "--transport", "pty")


@pytest.mark.parametrize("which", ["faulty", pytest.param("clean", marks=pytest.mark.long)])
def test_the_capture_replayed_gives_the_verdicts_of_the_run(which: str, request: pytest.FixtureRequest) -> None:
    """Byte for byte, but for the fields that name the source, and these are listed."""
    done: Run = request.getfixturevalue(which)
    again = benchcheck("replay", "out/demo.pcapng", "--profile", "survey_launch", "--json", cwd=done.folder.parent)
    document = json.loads(again.stdout)
    assert document["source_fields"] == ["file"]
    told, left_out = {}, {}
    for event in JobRecord.open(done.folder / "demo.job").events():
        if event.kind == EventKind.READING and event.body["stage"] == "live":
            told[event.body["step"]] = json.dumps(dict(event.body), sort_keys=True)
        elif event.kind == EventKind.SKIPPED:
            left_out[event.body["step"]] = event.body["reason"]
    for body in document["verdicts"]:
        if body["verdict"]["outcome"] == "SKIPPED":
            assert body["verdict"]["text"] == left_out[body["step"]]
        else:
            assert json.dumps(body, sort_keys=True) == told[body["step"]]
    assert len(document["verdicts"]) == document["judged_by_marks"] >= len(told) > 10
    assert again.returncode == (1 if which == "faulty" else 4)


# --- the faulty bench ----------------------------------------------------------------------------------------------


def test_every_planted_fault_is_found_and_no_other(faulty: Run) -> None:
    assert len({fault["kind"] for fault in faulty.truth}) >= 8
    assert {fault["stage"] for fault in faulty.truth} == {"dead", "power", "live"}
    compare(faulty)


def test_a_bench_with_faults_exits_1_and_says_why(faulty: Run) -> None:
    assert faulty.code == 1
    assert f"{len(faulty.truth)} squawks" in faulty.err
    assert "FAIL (exit code 1)" in faulty.err
    for squawk in faulty.report["squawks"]:
        assert squawk["text"] in faulty.err


def test_squawks_in_json_have_what_others_need(faulty: Run) -> None:
    for squawk in faulty.report["squawks"]:
        assert {"kind", "where", "stage", "text", "readings"} <= squawk.keys()
        assert squawk["stage"] in ("dead", "power", "live")
        assert squawk["readings"]


def test_json_on_stdout_is_the_report(faulty: Run) -> None:
    assert json.loads(faulty.out)["squawks"] == faulty.report["squawks"]


def test_progress_has_numbers(faulty: Run) -> None:
    assert " steps to do" in faulty.err
    assert " probe moves" in faulty.err


def test_a_report_line_says_that_this_interface_acknowledges(faulty: Run) -> None:
    assert "can1: this interface acknowledges" in faulty.err
    assert "acknowledges" in (faulty.folder / "report.html").read_text(encoding="utf-8")


def test_the_html_report_names_every_squawk(faulty: Run) -> None:
    page = (faulty.folder / "report.html").read_text(encoding="utf-8")
    assert page.lstrip().lower().startswith("<!doctype html>")
    for fault in faulty.truth:
        assert all(place in page for place in fault["where"])


def test_the_record_verifies_and_tells_the_whole_session(faulty: Run) -> None:
    path = faulty.folder / "demo.job"
    assert verify_record(path).ok
    with JobRecord.open(path) as record:
        kinds = [event.kind for event in record.events()]
    assert kinds[:3] == [EventKind.JOB_STARTED, EventKind.PROFILE_KEPT, EventKind.SESSION_STARTED]
    assert kinds[-1] == EventKind.SESSION_ENDED
    assert kinds.count(EventKind.SQUAWK_OPENED) == len(faulty.truth)
    assert kinds.count(EventKind.LEAD_ZERO) >= 1
    assert {EventKind.STATE, EventKind.READING, EventKind.CAUTIONS, EventKind.CAPTURE, EventKind.WAIVER} <= set(kinds)


def test_an_altered_record_is_noticed(faulty: Run, tmp_path: Path) -> None:
    for name in ("demo.job", "demo.job.head"):
        (tmp_path / name).write_bytes((faulty.folder / name).read_bytes())
    data = (tmp_path / "demo.job").read_bytes()
    at = data.index(b"continuity:W603")
    (tmp_path / "demo.job").write_bytes(data[:at] + b"continuity:W604" + data[at + 15 :])
    assert benchcheck("job", "verify", "demo.job", cwd=tmp_path).returncode != 0
    assert benchcheck("job", "verify", str(faulty.folder / "demo.job"), cwd=tmp_path).returncode == 0


def test_the_capture_holds_the_bus_and_the_lines(clean: Run) -> None:
    with JobRecord.open(clean.folder / "demo.job") as record:
        (body,) = [event.body for event in record.events() if event.kind == EventKind.CAPTURE]
    assert body["file"] == "demo.pcapng"
    assert body["bytes"] == (clean.folder / "demo.pcapng").stat().st_size
    with CaptureReader(clean.folder / "demo.pcapng") as recording:
        items = list(recording)
    assert not recording.truncated
    assert recording.bad_records == recording.dropped_frames == 0
    assert [bus.name for bus in recording.buses] == ["can1"]
    assert {line.name.partition(":")[0] for line in recording.lines} == {
        *("position", "heading", "tide", "sound speed", "depth", "logging")
    }
    assert "power_on" in {item.kind for item in items if isinstance(item, Mark)}


def test_the_capture_surveys_to_the_same_units(faulty: Run, tmp_path: Path) -> None:
    done = benchcheck(
        "survey", str(faulty.folder / "demo.pcapng"), "--profile", "survey_launch", "--json", cwd=tmp_path
    )
    document = json.loads(done.stdout)
    (bus,) = document["buses"]
    assert bus["bitrate"] == 250_000
    assert bus["frames"] > 500
    states = {unit["unit"]: unit["state"] for unit in document["units"]}
    live = {fault["unit"]: fault["kind"] for fault in faulty.truth if fault["stage"] == "live" and "unit" in fault}
    wanted = {"silent_unit": "missing", "late_unit": "late", "intermittent_unit": "intermittent"}
    assert {unit: states[unit] for unit in live} == {unit: wanted[kind] for unit, kind in live.items()}
    assert {states[unit] for unit in states if unit not in live} == {"present"}
    assert {line["name"].partition(":")[0] for line in document["lines"]} >= {"heading", "tide"}


# --- the sound bench -----------------------------------------------------------------------------------------------


def test_a_sound_bench_has_no_squawk_and_exits_0(clean: Run) -> None:
    assert clean.code == 0, clean.err
    assert clean.squawks == []
    assert clean.truth == []
    assert "no squawks" in clean.out
    assert "PASS (exit code 0)" in clean.out
    assert "steps to do" in clean.err  # results on stdout, messages on stderr


def test_what_the_adapter_can_not_tell_is_waived_by_name_and_reason(clean: Run) -> None:
    with JobRecord.open(clean.folder / "demo.job") as record:
        waivers = [event for event in record.events() if event.kind == EventKind.WAIVER]
    assert [(event.who, event.body["step"]) for event in waivers] == [("demo operator", "bus_errors:can1")]
    assert "can't report error frames" in str(waivers[0].body["reason"])


def test_every_step_of_a_sound_bench_is_in_the_record(clean: Run) -> None:
    plan = make_plan(load_profile(find_profile("survey_launch")))
    with JobRecord.open(clean.folder / "demo.job") as record:
        steps = [
            event.body["step"]
            for event in record.events()
            if event.kind == EventKind.READING and not event.body["follow_up"]
        ]
    assert steps == [step.id for step in plan.steps]


def test_the_tool_does_not_know_the_faults(faulty: Run) -> None:
    """Nothing of the fault list is in what the tool wrote: only places that were measured."""
    with JobRecord.open(faulty.folder / "demo.job") as record:
        text = json.dumps([dict(event.body) for event in record.events()])
    assert "demo_faults" not in text
    assert "truth" not in text


# --- other ways to run it --------------------------------------------------------------------------------------------


FAULTS = """\
[[faults]]
kind = "open_run"
run = "W10"

[[faults]]
kind = "silent_unit"
unit = "REC"
"""


def test_another_profile_with_faults_of_its_own_over_tcp(tmp_path: Path) -> None:
    """The starter, as on a system that has no pseudo-terminals."""
    (tmp_path / "faults.toml").write_text(FAULTS, encoding="utf-8")
    done = demo(
        tmp_path, "--profile", "starter", "--faults", str(tmp_path / "faults.toml"), "--transport", "tcp", "--plain"
    )
    assert done.code == 1
    assert len(done.truth) == 2
    compare(done)


@pytest.mark.long
@pytest.mark.parametrize("transport", ["pty", "tcp"])
def test_the_same_again(faulty: Run, tmp_path: Path, transport: str) -> None:
    again = demo(tmp_path, "--transport", transport)
    assert again.code == 1
    assert again.squawks == faulty.squawks


@pytest.mark.long
@pytest.mark.parametrize("seed", [2, 3, 4])
def test_other_scatter_same_faults(tmp_path: Path, seed: int) -> None:
    done = demo(tmp_path, "--seed", str(seed))
    assert done.code == 1
    compare(done)


@dataclass
class Started:
    process: subprocess.Popen[str]
    folder: Path


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Started]:
    """A demo that is under way, in a process group of its own."""
    process = subprocess.Popen(
        [sys.executable, "-m", "benchcheck", "demo", "--out", "out"],
        cwd=tmp_path,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        yield Started(process, tmp_path / "out")
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def children(pid: int) -> list[int]:
    text = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii")
    return [int(word) for word in text.split()]


def is_running(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="looks for child processes in /proc")
@pytest.mark.parametrize("line", ["dead stage: ", pytest.param("live stage: ", marks=pytest.mark.long)])
def test_ctrl_c_leaves_a_readable_record_and_no_process(started: Started, line: str) -> None:
    assert started.process.stderr is not None
    for said in started.process.stderr:
        if said.startswith(line):
            break
    else:
        pytest.fail("it ended before it began")
    simulators = children(started.process.pid)
    assert simulators
    os.kill(started.process.pid, signal.SIGINT)
    _, rest = started.process.communicate(timeout=ENDS_WITHIN_S)
    assert started.process.returncode == 130
    assert "Interrupted" in rest
    assert "Traceback" not in rest
    assert not [pid for pid in simulators if is_running(pid)]
    path = started.folder / "demo.job"
    assert verify_record(path).ok
    with JobRecord.open(path) as record:
        events = record.events()
    assert events[-1].kind == EventKind.SESSION_ENDED
    assert events[-1].body["outcome"] == "broken off"


# --- wrong use -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["demo", "--cleen"], "--clean"),
        (["dmeo"], "Did you mean 'demo'?"),
        (["demo", "--clean", "--faults", "x.toml"], "exclude each other"),
        (["demo", "--profile", "survey_lunch"], "survey_launch"),
        (["demo", "--profile", "nowhere/at/all"], "nowhere/at/all"),
        (["demo", "--faults", "faults.toml"], "faults.toml:2:1: unknown kind 'opened_run'"),
        (["demo", "--faults", "missing.toml"], "missing.toml: can't be read"),
        (["demo", "--seed", "many"], "seed"),
    ],
)
def test_wrong_use_and_bad_input_exit_2(
    in_folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    (in_folder / "faults.toml").write_text('[[faults]]\nkind = "opened_run"\nrun = "W1"\n', encoding="utf-8")
    assert run(arguments) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_an_output_folder_that_can_not_be_made_exits_3(in_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (in_folder / "file").write_text("not a folder", encoding="utf-8")
    assert run(["demo", "--out", "file/below"]) == 3
    assert "--out" in capsys.readouterr().err
    assert (in_folder / "file").read_text(encoding="utf-8") == "not a folder"


@pytest.fixture
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_an_earlier_run_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    assert _new_folder(tmp_path / "out") == tmp_path / "out"  # empty: nothing is lost
    (tmp_path / "out" / "demo.job").write_text("mine", encoding="utf-8")
    assert _new_folder(tmp_path / "out") == tmp_path / "out-2"
    (tmp_path / "out-2" / "x").write_text("mine too", encoding="utf-8")
    assert _new_folder(tmp_path / "out") == tmp_path / "out-3"
    assert (tmp_path / "out" / "demo.job").read_text(encoding="utf-8") == "mine"


def test_help_shows_examples(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo", "--help"]) == 0
    said = capsys.readouterr().out
    assert "benchcheck demo --clean" in said
    assert "--truth" not in said  # for tests only
