"""A switch matrix as hands: the dead stage of the starter through the real drivers, and what a matrix can't do."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date

import pytest
from model_bench import MemoryRecord, job, shipped

from benchcheck.bench.bench import Bench
from benchcheck.bench.config import config_from_mapping
from benchcheck.jobs.asked import QuestionKind
from benchcheck.jobs.by_hand import ByHand
from benchcheck.jobs.by_matrix import ByMatrix
from benchcheck.jobs.ready import Readiness, look_at_bench
from benchcheck.jobs.runner import LEFT_OUT, Runner
from benchcheck.simulator.faults import Fault, OpenRun, Short
from benchcheck.simulator.matrix import MATRIX_IDENTITY
from benchcheck.simulator.server import BenchServer
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.event import EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import ReadingState
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

SPEC = MeterSpec()
HARNESS, PLAN, CONTEXT = shipped("starter")


class Mover:
    """Does by hand what is asked, on the simulated bench; `asked` are the moves."""

    def __init__(self, server: BenchServer) -> None:
        self._server = server
        self.asked: list[tuple[str, ...]] = []

    def ask(self, question) -> str:
        assert question.kind is QuestionKind.STATE
        assert not self._server.matrix.closed, "somebody reaches in while channels are closed"
        self.asked.append(question.todo)
        opened = set(self._server.model.state.opened)
        for move in question.todo:
            if move.startswith("pull or switch off "):
                opened.add(move.split()[-1])
            elif move.startswith("push in or switch on "):
                opened.discard(move.split()[-1])
        self._server.model.set_state(BenchState(opened=frozenset(opened)))
        return ""

    def tell(self, text: str) -> None:
        """Nothing is done for it."""


@contextmanager
def matrix_job(*faults: Fault, unattended: bool = False, leave_out: tuple[str, ...] = ()) -> Iterator:
    with BenchServer(HARNESS, faults, transport="pty", matrix=True) as server:
        thread = threading.Thread(target=server.run, name="simulated bench")
        thread.start()
        try:
            values = server.description()
            del values["hands"], values["can"], values["serial"], values["supply"]
            values["simulated"] = False
            for rail in ("red", "black"):
                for contact in leave_out:
                    del values["matrix"][rail][contact]
            with Bench(config_from_mapping(values)) as bench:
                record, person = MemoryRecord(), Mover(server)
                hands = ByHand(HARNESS, person, typed=False, commanded=False)
                operator = ByMatrix(bench.matrix, hands, HARNESS.chassis, SPEC, bench.clock, unattended=unattended)
                runner = Runner(
                    HARNESS, PLAN, CONTEXT, bench, operator, record, who="test", progress=lambda text: None
                )  # fmt: skip
                yield runner, record, person, server
        finally:
            server.stop()
            thread.join()


def test_the_dead_stage_runs_through_a_matrix():
    with matrix_job() as (runner, record, person, server):
        board = runner.run(Stage.DEAD)
        assert {board.outcome(step.id) for step in PLAN.of_stage(Stage.DEAD)} == {Outcome.PASS}
        # a person joins the matrix, and works the protector; the rest goes by itself
        assert [len(todo) for todo in person.asked if todo[0].startswith("plug the matrix")] == [2]
        assert all("CB1" in move for todo in person.asked[1:] for move in todo)
        bodies = [body for body in record.bodies(EventKind.READING) if body.get("step")]
        for body in bodies:
            detail = body["reading"]["detail"]
            assert detail["taken"] == "by the matrix"
            assert len(detail["channels"]) >= 2
            assert "contact" not in detail
        clipped = [body for body in bodies if len(body["reading"]["detail"]["channels"]) > 2]
        assert len(clipped) == sum(bool(step.state.links) for step in PLAN.of_stage(Stage.DEAD))
        (zero,) = record.bodies(EventKind.LEAD_ZERO)
        assert zero["ohm"] == pytest.approx(0.2, abs=0.05)
    assert server.matrix.closed == set()  # open when it was let go


def test_faults_are_found_through_a_matrix():
    faults = (OpenRun("W3"), Short(("P1-3", "P1-4"), 2.0))
    with matrix_job(*faults) as (runner, _, _, _):
        board = runner.run(Stage.DEAD)
        assert board.outcome("continuity:W3") is Outcome.FAIL
        found = [(squawk.kind.value, squawk.where) for squawk in board.squawks]
    by_hands = job("starter", *faults)
    by_hands.run([Stage.DEAD])
    assert ("open_run", ("W3",)) in found
    assert len(found) == 2
    assert found == by_hands.squawks


def test_where_nobody_is_there_what_needs_a_person_is_left_out_and_still_to_do():
    with matrix_job(unattended=True) as (runner, record, person, _):
        board = runner.run(Stage.DEAD)
        needs = {step.id for step in PLAN.of_stage(Stage.DEAD) if step.state.opened}
        assert needs
        for step in PLAN.of_stage(Stage.DEAD):
            assert board.outcome(step.id) is (Outcome.SKIPPED if step.id in needs else Outcome.PASS), step.id
        assert len(person.asked) == 1  # to join it
        assert all("nobody is there" in body["reason"] for body in record.bodies(EventKind.SKIPPED))
        assert {result.verdict.reason for result in board.results.values() if result.step.id in needs} <= {
            LEFT_OUT,
            "skipped",
        }


def test_a_contact_without_a_channel_is_unsure_and_says_which():
    with matrix_job(leave_out=("P1-3",)) as (runner, _, _, _):
        board = runner.run(Stage.DEAD)
        for step in PLAN.of_stage(Stage.DEAD):
            result = board.results[step.id]
            if "P1-3" in (step.red, step.black):
                assert result.outcome is Outcome.UNSURE
                assert "no channel for P1-3" in result.verdict.text
            elif result.reading.state is not ReadingState.NONE:
                assert result.outcome is Outcome.PASS


def test_a_channel_that_sticks_is_never_a_reading():
    with matrix_job() as (runner, _, _, server):
        server.matrix.stuck |= {server.matrix.red["P1-2"], server.matrix.black["P1-2"]}
        board = runner.run(Stage.DEAD)
        stuck = [
            board.results[step.id]
            for step in PLAN.of_stage(Stage.DEAD)
            if "does not close" in board.results[step.id].verdict.text
        ]
        assert stuck
        assert {result.outcome for result in stuck} == {Outcome.UNSURE}
        assert all(result.outcome in (Outcome.PASS, Outcome.UNSURE) for result in board.results.values())


def test_with_units_in_the_matrix_comes_off_and_a_person_does_it():
    with matrix_job() as (runner, _, person, server):
        asker = runner._asker
        asker.bring_to(ALL_OPEN)
        operator = asker._operator
        operator.touch("P1-1", "P1-2")
        assert server.matrix.closed
        asker.bring_to(BenchState(on_unit=frozenset({"P1"})))
        assert server.matrix.closed == set()
        assert person.asked[-1][0].startswith("open every connector")
        assert person.asked[-1][-1] == "plug P1 into its unit"
        asker.bring_to(ALL_OPEN)
        assert person.asked[-1][0].startswith("plug the matrix")


def test_a_matrix_is_looked_at_before_the_job():
    with matrix_job() as (runner, _, _, _):
        items = {item.what: item for item in look_at_bench(runner._asker._bench, None, date(2031, 5, 4))}
        assert items["matrix"].state is Readiness.READY
        assert items["matrix"].text == MATRIX_IDENTITY
