"""`benchcheck locate`: short lists from a job record, as text, plain lines and JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from model_bench import PROFILES, job_on, shipped

from benchcheck.bench.clock import FakeClock
from benchcheck.cli.main import run
from benchcheck.record.store import JobRecord
from benchcheck.simulator.faults import Fault, OpenRun, SwappedContacts
from benchcheck.words.event import EventKind
from benchcheck.words.step import Stage


@pytest.fixture(autouse=True)
def no_bench_of_mine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)


def job_with(tmp_path: Path, faults: Sequence[Fault], *, probes: bool = True) -> Path:
    """A job of the demo harness of which the dead stage was run on the simulator's model."""
    harness, plan, context = shipped("survey_launch")
    made = job_on(harness, plan, context, faults)
    made.run([Stage.DEAD])
    path = tmp_path / "bay.job"
    with JobRecord.create(
        path,
        clock=FakeClock(),
        who="Ann Example",
        title="t",
        profile_path=str(PROFILES / "survey_launch"),
        digest=harness.digest,
    ) as record:
        for event in made.record.events():
            if event.kind == EventKind.READING and not _worth_keeping(event.body, probes=probes):
                continue
            if event.kind in (EventKind.READING, EventKind.SQUAWK_OPENED):
                record.append(EventKind(event.kind), dict(event.body), who="Ann Example")
    return path


def _worth_keeping(body: Mapping[str, object], *, probes: bool) -> bool:
    """Probes, what failed, and a few of those that passed: each event is written through to the disk, which takes its time."""
    if body["follow_up"]:
        return probes
    return '"PASS"' not in json.dumps(body["verdict"]) or str(body["step"]).endswith("7")


def test_a_swap_that_was_probed_stands_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = job_with(tmp_path, [SwappedContacts(("P192-20", "P192-21"))])
    assert run(["locate", str(path), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == "benchcheck.locate/1"
    (case,) = told["cases"]
    assert case["steps"] == ["continuity:W764", "continuity:W765"]
    first = case["suspects"][0]
    assert first["faults"][0]["kind"] == "swapped_contacts"
    assert {"P192-20", "P192-21"} <= set(first["faults"][0]["where"])
    assert case["stands_out"]
    assert first["probability"] > 0.95
    assert not case["none_fits"]
    assert case["next_probe"] is None
    assert any("reads OL: planned below 1 ohm, with this open" in line for line in first["for"])
    assert told["other_squawks"] == []


def test_without_the_probes_the_next_one_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = job_with(tmp_path, [SwappedContacts(("P192-20", "P192-21"))], probes=False)
    assert run(["locate", str(path), "--json"]) == 1
    (case,) = json.loads(capsys.readouterr().out)["cases"]
    kinds = [[fault["kind"] for fault in suspect["faults"]] for suspect in case["suspects"]]
    assert kinds[0] == ["swapped_contacts"]
    assert ["open_run", "open_run"] in kinds
    assert not case["stands_out"]
    assert {case["next_probe"]["red"], case["next_probe"]["black"]} in ({"P192-20", "P103-2"}, {"P192-21", "P103-10"})
    spoken = {line for outcome in case["next_probe"]["outcomes"] for line in outcome["suspects"]}
    assert spoken == set(range(len(kinds)))
    assert run(["locate", str(path)]) == 1
    text = capsys.readouterr().out
    assert "1. Behind continuity:W764, continuity:W765:" in text
    assert "Next probe: " in text
    assert "open: speaks for 2)" in text
    assert run(["locate", str(path), "--plain"]) == 1
    assert "1\tstep\tcontinuity:W764" in capsys.readouterr().out.splitlines()


def test_two_cases_and_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = job_with(tmp_path, [OpenRun("W409"), OpenRun("W304")])
    assert run(["locate", str(path), "--json"]) == 1
    cases = json.loads(capsys.readouterr().out)["cases"]
    assert [case["suspects"][0]["faults"][0]["where"] for case in cases] in ([["W304"], ["W409"]], [["W409"], ["W304"]])
    path.unlink()
    assert run(["locate", str(job_with(tmp_path, []))]) == 0
    assert capsys.readouterr().out == "Nothing failed that is still open.\n"
