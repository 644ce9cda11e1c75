"""A run of a job on the model bench: what it asks in which order, what it records, and what it does when things go wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest
from model_bench import ALL_STAGES, Job, MemoryRecord, job, job_on, shipped

from benchcheck.bench.clock import FakeClock
from benchcheck.checks.kind import Context
from benchcheck.jobs.runner import Runner
from benchcheck.plan.plan import make_plan
from benchcheck.readiness.board import fold
from benchcheck.record.store import JobRecord
from benchcheck.record.verify import verify_record
from benchcheck.simulator.faults import DeadTransmitter, OpenRun, ProtectorOpen, Short, SilentUnit, SwappedContacts
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import ExitCode, LinkLost, SetupError
from benchcheck.words.event import EventKind
from benchcheck.words.lead_zero import READINGS
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

PROFILES = ("starter", "survey_launch")


def done(profile: str, *faults: object, stages: tuple[Stage, ...] = ALL_STAGES) -> Job:
    made = job(profile, *faults)  # type: ignore[arg-type]
    made.run(stages)
    return made


@pytest.fixture(scope="module")
def clean() -> Job:
    return done("starter")


# --- a sound bench -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_sound_bench_has_no_squawk(profile: str, seed: int) -> None:
    made = job(profile, seed=seed)
    stages = ALL_STAGES if seed == 1 or profile == "starter" else (Stage.DEAD,)
    board = made.run(stages)
    assert made.squawks == []
    left = {step.id for step in board.todo() if step.stage in stages}
    # this adapter can't report error frames, and says so
    assert left <= {"bus_errors:can1"}
    assert {board.outcome(step) for step in left} <= {Outcome.UNSURE}


def test_unsure_is_no_pass_until_somebody_waives_it(clean: Job) -> None:
    made = done("starter")
    assert made.runner.board.exit_code(ALL_STAGES) is ExitCode.UNSURE
    made.runner.waive("bus_errors:can1", "the adapter can't tell")
    assert made.runner.board.exit_code(ALL_STAGES) is ExitCode.PASS
    (body,) = made.record.bodies(EventKind.WAIVER)
    assert body == {"step": "bus_errors:can1", "reason": "the adapter can't tell"}


def test_every_step_is_recorded_once_with_question_limit_and_state(clean: Job) -> None:
    plan = clean.runner.plan
    bodies = [b for b in clean.record.bodies(EventKind.READING) if not b["follow_up"]]
    assert [b["step"] for b in bodies] == [step.id for step in plan.steps]
    for body in bodies:
        step = plan.by_id[str(body["step"])]
        assert body["question"] == step.question
        assert body["stage"] == step.stage.value
        assert body["state"] == step.state.to_json()
        if step.band is not None:
            assert body["band"]["source"] == step.band.source  # type: ignore[index]


def test_what_was_recorded_gives_the_board_again(clean: Job) -> None:
    again = fold(clean.runner.plan, clean.record.events())
    now = clean.runner.board
    ids = clean.runner.plan.by_id
    assert {step: again.outcome(step) for step in ids} == {step: now.outcome(step) for step in ids}
    assert all(again.outcome(step) is not None for step in ids)


def test_progress_has_numbers(clean: Job) -> None:
    assert "dead stage: 37 of 37 steps to do" in clean.said
    assert any(line.startswith("power stage: 23 PASS, 0 FAIL") for line in clean.said)


# --- safety --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("profile", PROFILES)
def test_nothing_is_moved_with_the_supply_on(profile: str) -> None:
    """The model's hands refuse it (see there); and each recorded change names the supply when it changed it."""
    made = done(profile)
    before = BenchState()
    for body in made.record.bodies(EventKind.STATE):
        state = BenchState.from_json(body["state"])
        assert body["changes"] == list(before.changes_to(state))
        assert body["simulated"] is True
        before = state
    moves = [n for n, entry in enumerate(made.bench.log) if entry.startswith("state ")]
    assert len(moves) > 3
    powered = False
    for entry in made.bench.log:
        powered = entry == "supply on" or (powered and entry != "supply off")
        assert not (powered and entry.startswith("state "))


def test_the_supply_is_off_at_the_end_of_each_stage() -> None:
    made = job("starter")
    for stage in ALL_STAGES:
        made.run([stage])
        assert not made.bench.model.supply.on


def test_the_same_stage_twice_in_one_session_is_powered_again() -> None:
    """The first run left the supply off: the second must not read a dead bench and call it a fault."""
    made = done("starter", DeadTransmitter("P1-3"))
    assert made.squawks == [("dead_transmitter", ("P1-3",))]
    made.bench.log.clear()
    made.run([Stage.POWER])
    assert "supply on" in made.bench.log
    assert made.squawks == [("dead_transmitter", ("P1-3",))]


def test_power_comes_with_a_limit() -> None:
    made = done("starter")
    assert made.bench.supply.limits_a
    assert max(made.bench.supply.limits_a) <= 3.0  # the profile's own
    assert min(made.bench.supply.limits_a) > 0


def test_volts_before_ohms_after_power() -> None:
    """A rerun of the dead stage on a bench that was powered: volts are read, near zero, and recorded before ohms."""
    made = done("starter", OpenRun("W10"))
    made.bench.log.clear()
    count = len(made.record.events())
    made.run([Stage.DEAD])
    measured = [entry for entry in made.bench.log if entry in ("ohms", "volts")]
    assert measured[0] == "volts"
    assert "ohms" in measured[1:]
    first = made.record.events()[count:][1].body
    assert first["follow_up"]
    assert str(first["question"]).startswith("is the power off between")
    assert first["verdict"]["reason"] == "near_zero"  # type: ignore[index]
    assert first["band"] == {"low": -0.3, "high": 0.3, "unit": "V", "source": "profile limit near_zero_v"}


def test_a_session_that_finds_the_bench_in_an_unknown_state_reads_volts_first() -> None:
    made = job("starter")
    made.run([Stage.DEAD])
    assert [entry for entry in made.bench.log if entry in ("ohms", "volts")][:3] == [
        "volts",
        "volts",
        "ohms",
    ]  # the feed, then the pair
    assert made.bench.log[0] == "supply off"


def test_no_ohms_while_there_are_volts() -> None:
    """A battery that nobody has taken off: every ohms step is UNSURE, and says why."""
    made = job("starter")
    made.bench.meter.volts = lambda: Reading(ReadingState.VALUE, "V", 12.1, 0.08)  # type: ignore[method-assign]
    board = made.run([Stage.DEAD])
    assert "ohms" not in made.bench.log
    assert {result.outcome for result in board.results.values()} == {Outcome.UNSURE}
    why = board.results["continuity:W1"].verdict.text
    assert why.startswith("12.1 V between")
    assert "no ohms before it is within 0.3 V" in why
    assert made.squawks == []
    follow_ups = [b for b in made.record.bodies(EventKind.READING) if b["follow_up"]]
    assert {b["verdict"]["outcome"] for b in follow_ups} == {"FAIL"}  # type: ignore[index]


def test_volts_that_can_not_be_read_are_not_near_zero() -> None:
    made = job("starter")
    made.bench.meter.volts = lambda: Reading.none("no answer", "V")  # type: ignore[method-assign]
    board = made.run([Stage.DEAD])
    assert "ohms" not in made.bench.log
    assert {result.outcome for result in board.results.values()} == {Outcome.UNSURE}


@pytest.mark.parametrize("ohm", [0.1, 200.0])
def test_power_is_not_let_in_over_a_short(ohm: float) -> None:
    made = done("starter", Short(("P1-1", "P1-2"), ohm))
    assert "supply on" not in made.bench.log
    counts = made.runner.board.counts(Stage.POWER)
    assert counts["SKIPPED"] == len(made.runner.plan.of_stage(Stage.POWER))
    assert made.runner.board.counts(Stage.LIVE)["PASS"] == 0
    reason = made.record.bodies(EventKind.SKIPPED)[0]["reason"]
    assert str(reason).startswith("power is not let in, not proved: is TB1-1 apart from TB1-4 (24V main to its ground)")
    assert made.squawks
    if ohm < 1:
        assert [kind for kind, _ in made.squawks] == ["short"]


def test_power_is_not_let_in_where_nothing_was_measured() -> None:
    made = job("starter")
    made.run([Stage.POWER, Stage.LIVE])
    assert "supply on" not in made.bench.log
    assert {r.outcome for r in made.runner.board.results.values()} == {Outcome.SKIPPED}


def test_a_unit_whose_contacts_are_not_proved_stays_out() -> None:
    """24 V on a signal contact of P2: the recorder never goes in, the receiver does."""
    made = done("starter", SwappedContacts(("P2-1", "P2-9")))
    for body in made.record.bodies(EventKind.STATE):
        assert "P2" not in body["state"]["on_unit"]  # type: ignore[index]
    assert any("P1" in body["state"]["on_unit"] for body in made.record.bodies(EventKind.STATE))  # type: ignore[index]
    skipped = {str(b["step"]): str(b["reason"]) for b in made.record.bodies(EventKind.SKIPPED)}
    assert skipped["unit_current:REC"].startswith("REC may not be plugged in: feed_volts:P2-1:P2-9")
    assert skipped["unit_heard:can1:REC"].startswith("REC may not be plugged in")
    assert "unit_current:GPS" not in skipped


def test_a_unit_behind_another_that_is_out_is_not_called_silent() -> None:
    """The logger joins the bus inside: while it may not go in, what lies behind it can't be heard."""
    made = done("survey_launch", ProtectorOpen("CB3"))
    skipped = {str(b["step"]): str(b["reason"]) for b in made.record.bodies(EventKind.SKIPPED)}
    assert skipped["unit_heard:can1:NAV"] == "can1 does not reach NAV while LOG is out"
    assert made.runner.board.outcome("unit_heard:can1:HELM") is Outcome.PASS
    assert made.squawks == [("protector_open", ("CB3",))]


# --- a bench that fails ----------------------------------------------------------------------------------------------


class Lost:
    """A device that is lost from its n-th use on, for a while."""

    def __init__(self, device: str, after: int, uses: int = 10**9, error: type[Exception] = LinkLost) -> None:
        self.device, self.after, self.uses, self.error = device, after, uses, error
        self.count = 0

    def __call__(self, device: str) -> None:
        if device == self.device:
            self.count += 1
            if self.after < self.count <= self.after + self.uses:
                raise self.error(f"{device} is gone")


def test_a_lost_meter_is_unsure_and_the_job_goes_on() -> None:
    made = job("starter", hook=Lost("meter", 12, 5))
    board = made.run([Stage.DEAD])
    unsure = [result for result in board.results.values() if result.outcome is Outcome.UNSURE]
    assert 0 < len(unsure) <= 5
    assert {result.verdict.text for result in unsure} == {"meter is gone"}
    assert {result.reading.state for result in unsure} == {ReadingState.NONE}
    assert len(board.results) == len(made.runner.plan.of_stage(Stage.DEAD))
    assert made.squawks == []
    assert board.exit_code([Stage.DEAD]) is ExitCode.UNSURE


def test_a_meter_that_is_gone_for_good() -> None:
    made = job("starter", hook=Lost("meter", 0))
    board = made.run()
    assert {result.outcome for result in board.results.values()} == {Outcome.UNSURE, Outcome.SKIPPED}
    assert made.squawks == []
    assert "supply on" not in made.bench.log


def test_a_lost_meter_on_a_faulty_bench_makes_no_other_fault() -> None:
    for after in (5, 20, 40):
        made = job("starter", OpenRun("W10"), hook=Lost("meter", after, 3))
        made.run([Stage.DEAD])
        assert {kind for kind, _ in made.squawks} <= {"open_run"}


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, SetupError])
@pytest.mark.parametrize("device", ["meter", "hands", "supply", "can"])
def test_however_a_stage_ends_the_supply_is_off(device: str, error: type[BaseException]) -> None:
    probe = done("starter")  # how often is it used in all?
    uses = Counting(device)
    counted = job("starter", hook=uses)
    counted.run()
    assert uses.count
    for after in (0, uses.count // 2, uses.count - 1):
        made = job("starter", hook=Lost(device, after, error=error))  # type: ignore[arg-type]
        try:
            made.run()
        except error:
            pass
        else:
            assert error is SetupError  # an adapter that won't open leaves its steps UNSURE
        assert not made.bench.model.supply.on
        assert made.bench.log[-1] == "supply off"
    assert not probe.bench.model.supply.on


class Counting:
    def __init__(self, device: str) -> None:
        self.device, self.count = device, 0

    def __call__(self, device: str) -> None:
        self.count += device == self.device


def test_an_adapter_that_won_t_open_leaves_its_bus_unsure() -> None:
    made = job("starter", hook=Lost("can", 0, error=SetupError))
    board = made.run()
    heard = [r for r in board.results.values() if r.step.check in ("unit_heard", "bus_load", "bus_strangers")]
    assert {r.outcome for r in heard} == {Outcome.UNSURE}
    assert {r.verdict.text for r in heard} == {"can is gone"}
    assert board.outcome("link_alive:position:GPS") is Outcome.PASS  # the rest goes on
    assert made.squawks == []


def test_a_unit_that_boots_slowly_as_it_may_is_not_called_silent() -> None:
    """Its line is the first thing that is listened to, and what its file allows for booting is waited for."""
    harness = shipped("starter")[0]
    slow = replace(harness.units["GPS"], type=replace(harness.units["GPS"].type, boot_s=9.0))
    harness = replace(harness, units={**harness.units, "GPS": slow})
    context = Context(harness, MeterSpec())
    made = job_on(harness, make_plan(harness), context)
    board = made.run()
    assert made.squawks == []
    assert board.outcome("link_alive:position:GPS") is Outcome.PASS
    assert board.outcome("unit_heard:can1:GPS") is Outcome.PASS


def test_dropped_frames_prove_no_silence() -> None:
    def drop(device: str) -> None:  # at every look at the adapter: there is no time in which all was heard
        if device == "can":
            made.bench._can["can1"].counts.dropped += 3

    made = job("starter", SilentUnit("REC"), hook=drop)
    board = made.run()
    assert board.outcome("unit_heard:can1:REC") is Outcome.UNSURE
    assert board.outcome("unit_heard:can1:GPS") is Outcome.PASS
    assert made.squawks == []


def test_frames_that_were_dropped_before_prove_nothing() -> None:
    made = job("starter", SilentUnit("REC"))
    made.bench.can("can1", 250_000).counts.dropped = 3  # before this listening began
    board = made.run()
    assert board.outcome("unit_heard:can1:REC") is Outcome.FAIL


# --- again -----------------------------------------------------------------------------------------------------------


def test_a_rerun_asks_nothing_that_passed() -> None:
    made = done("starter")
    count = len(made.record.bodies(EventKind.READING))
    again = made.rework()
    again.run()
    asked = [b["step"] for b in made.record.bodies(EventKind.READING)[count:] if not b["follow_up"]]
    assert asked == ["bus_errors:can1"]  # it was UNSURE


def test_a_rerun_goes_on_where_an_interrupted_run_stopped() -> None:
    first = job("starter", hook=Lost("meter", 15 + READINGS, error=KeyboardInterrupt))  # type: ignore[arg-type]
    with pytest.raises(KeyboardInterrupt):
        first.run()
    measured = [b["step"] for b in first.record.bodies(EventKind.READING) if not b["follow_up"]]
    # two of the fifteen were the volts before the first ohms, at the feed and at the pair; the others are the leads
    assert len(measured) == 13
    again = first.rework()
    again.run()
    steps = [b["step"] for b in first.record.bodies(EventKind.READING) if not b["follow_up"]]
    assert steps == [step.id for step in first.runner.plan.steps]  # each once, none twice
    assert again.squawks == []


def test_a_waived_step_is_not_asked_again() -> None:
    made = job("starter")
    made.runner.waive("continuity:W1", "seen by eye")
    made.run([Stage.DEAD])
    assert "continuity:W1" not in {b["step"] for b in made.record.bodies(EventKind.READING)}
    assert made.runner.board.exit_code([Stage.DEAD]) is ExitCode.PASS


def test_a_fault_that_was_mended_closes_its_squawk() -> None:
    made = done("starter", OpenRun("W10"), DeadTransmitter("P1-3"))
    assert {kind for kind, _ in made.squawks} == {"open_run", "dead_transmitter"}
    after = made.rework()
    after.run()
    assert after.squawks == []
    closed = {b["id"] for b in made.record.bodies(EventKind.SQUAWK_CLOSED)}
    assert closed == {"open_run:W10", "dead_transmitter:P1-3"}
    assert after.runner.board.exit_code(ALL_STAGES) is ExitCode.UNSURE  # the error frames only


def test_a_fault_that_is_still_there_is_not_opened_twice() -> None:
    made = done("starter", OpenRun("W10"))
    after = made.rework(OpenRun("W10"))
    after.run()
    assert after.squawks == [("open_run", ("W10",))]
    assert len(made.record.bodies(EventKind.SQUAWK_OPENED)) == 1
    assert made.record.bodies(EventKind.SQUAWK_CLOSED) == []


def test_an_interrupted_bench_twice_gives_the_same_readings() -> None:
    """The same seed gives the same noise: two runs of one bench record the same bodies."""
    first, second = (done("starter", OpenRun("W10")) for _ in range(2))
    assert [e.body for e in first.record.events()] == [e.body for e in second.record.events()]


# --- the real record ---------------------------------------------------------------------------------------------------


def test_on_a_real_record_that_verifies(tmp_path) -> None:  # type: ignore[no-untyped-def]
    made = job("starter", OpenRun("W10"))
    harness, plan, context = shipped("starter")
    path = tmp_path / "bay.job"

    def run_on(record: JobRecord) -> Runner:
        runner = Runner(
            harness,
            plan,
            context,
            made.bench,  # type: ignore[arg-type]
            made.runner._operator,
            record,
            who="Ann Example",
            progress=lambda _: None,
        )
        runner.run(Stage.DEAD)
        return runner

    with JobRecord.create(
        path, title="t", profile_path="starter", digest=harness.digest, who="Ann Example", clock=FakeClock()
    ) as record:
        first = run_on(record)
        count = len(record.events())
    assert verify_record(path).ok
    with JobRecord.open(path, clock=FakeClock(), who="Ben Example") as record:
        second = run_on(record)
        new = record.events()[count:]
    assert verify_record(path).ok
    assert [s.id for s in first.board.squawks] == [s.id for s in second.board.squawks] == ["open_run:W10"]
    asked = {str(e.body["step"]) for e in new if e.kind == EventKind.READING and not e.body["follow_up"]}
    assert asked == {step.id for step in first.board.todo(Stage.DEAD)}  # what had failed, and nothing else


def test_a_record_that_can_not_be_written_stops_the_run() -> None:
    """What can't be recorded is not acknowledged: the run ends, the supply is off."""

    class Full(MemoryRecord):
        def append(self, kind: str, body: object, *, who: str, profile: str = "") -> object:  # type: ignore[override]
            if len(self.events()) > 20:
                raise SetupError("the disk is full")
            return super().append(kind, body, who=who, profile=profile)  # type: ignore[arg-type]

    made = job_on(*shipped("starter"), record=Full())
    with pytest.raises(SetupError, match="disk is full"):
        made.run()
    assert not made.bench.model.supply.on
