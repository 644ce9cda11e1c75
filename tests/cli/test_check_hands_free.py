"""`check` at a terminal, on a bench whose meter can be asked: readings are taken by themselves, words always, a bell beside them."""

from __future__ import annotations

import json

import pytest
from at_a_terminal import AtATerminal
from bench_stand_ins import IDN, PtyLines, until

from benchcheck.cli.main import run
from benchcheck.record.store import JobRecord
from benchcheck.words.event import EventKind

OPEN = b"+9.90000000E+37\n"
STEP = "continuity:W3"
APART = "supply_to_ground:TB1-1:TB1-4"


@pytest.fixture
def job(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(["job", "start", "starter"]) == 0
    return tmp_path / "starter.job"


class Held:
    """A meter in somebody's hands: what it shows is set from outside."""

    def __init__(self) -> None:
        self.ohms, self.volts = OPEN, b"+0.00100000E+00\n"

    def replies(self):
        return {
            "*IDN?": IDN,
            "MEAS:RES?": lambda _: self.ohms,
            "MEAS:VOLT:DC?": lambda _: self.volts,
            "SYST:ERR?": b'+0,"No error"\n',
        }


def bench_of(stand_in, folder):
    path = folder / "bench.json"
    path.write_text(json.dumps({"name": "bay", "meter": {"resource": f"ASRL{stand_in.name}::INSTR"}}))
    return path


def a_while(stand_in):
    """Longer than any reading takes to settle: forty times it was asked for one."""
    asked = len(stand_in.lines.commands) + 40
    until(lambda: len(stand_in.lines.commands) > asked)


def begun(at, stand_in, held, pairs):
    """Up to the first reading that belongs to the step: the state is confirmed, the volts pressed, the leads measured."""
    for _ in range(2):  # the supply, and what is plugged
        at.until("Enter when done> ")
        at.type("\n")
    for _ in range(pairs):  # the feed, then the pair where that is another, since nothing is known of the time before
        at.until("then press Enter")
        at.type("\n")
        at.until(", taken by a press")
    at.until("touch the two leads together")
    a_while(stand_in)
    held.ohms = b"+2.00000000E-01\n"
    at.until("the leads are read, let them go")


def test_a_reading_that_settles_in_contact_is_taken_by_itself_and_rung(job, tmp_path):
    held = Held()
    with PtyLines(held.replies()) as stand_in:
        bench = bench_of(stand_in, tmp_path)
        with AtATerminal(
            "check", job, "--step", STEP, "--bench", bench, "--ambient", "20", "--by", "Ann Example"
        ) as at:
            begun(at, stand_in, held, 2)
            at.until("Lift the probes first")  # they are still together
            held.ohms = OPEN
            a_while(stand_in)
            held.ohms = b"+2.70000000E-01\n"
            shown = at.until(", taken by itself")
            assert "\a" in shown
            code, rest = at.end()
    assert code in (0, 4)  # the rest of the stage is still to do
    assert f"PASS    {STEP}" in shown + rest
    with JobRecord.open(job) as record:
        body = next(e.body for e in record.events() if e.kind == EventKind.READING and e.body.get("step") == STEP)
    assert body["reading"]["detail"]["taken"] == "by itself"
    assert body["reading"]["value"] == pytest.approx(0.07)


def test_where_open_passes_it_waits_for_enter(job, tmp_path):
    held = Held()
    with PtyLines(held.replies()) as stand_in:
        bench = bench_of(stand_in, tmp_path)
        with AtATerminal(
            "check", job, "--step", APART, "--bench", bench, "--ambient", "20", "--by", "Ann Example"
        ) as at:
            begun(at, stand_in, held, 1)
            held.ohms = OPEN
            at.until("nothing is taken by itself")
            a_while(stand_in)
            while at._read(0.0):
                pass
            assert ", taken" not in at.seen
            at.type("\n")
            at.until("OL, taken by a press")
            code, rest = at.end()
    assert f"PASS    {APART}" in rest
    with JobRecord.open(job) as record:
        body = next(e.body for e in record.events() if e.kind == EventKind.READING and e.body.get("step") == APART)
    assert body["reading"]["detail"]["contact"] == "by the operator's word"
    assert code in (0, 4)
