"""A dead stage with clips, shorting plugs and coded plugs: what a person is told, and what is found."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import pytest
from model_bench import Job, job_on, shipped

from benchcheck.checks.kind import Context
from benchcheck.jobs.asked import Question, QuestionKind
from benchcheck.jobs.by_hand import ByHand
from benchcheck.plan.plan import Plan, make_plan
from benchcheck.simulator.faults import Fault, Short, SwappedContacts
from benchcheck.words.bench_state import BenchState
from benchcheck.words.event import EventKind
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome
from benchcheck.words.ways import Identity, Isolation, Ways

WAYS = [Ways(), Ways(Isolation.PLUG), Ways(Isolation.PLUG, Identity.CODED), Ways(Isolation.NEAR, Identity.CODED)]
PLUG = Ways(Isolation.PLUG)

MOVES = {
    "links": (r"join (\S+) to chassis", r"part (\S+) from chassis"),
    "plugs": (
        r"put the shorting plug on (\S+?)(?: in place of its clips)?, its lead on chassis",
        r"take the shorting plug off (\S+)",
    ),
    "coded": (r"put a coded plug on (\S+), its lead on chassis", r"take the coded plug off (\S+)"),
    "lifted": (r"lift (\S+) off (\S+)", r"put (\S+) back on (\S+)"),
    "opened": (r"pull or switch off (\S+)", r"push in or switch on (\S+)"),
    "on_unit": (r"plug (\S+) into its unit", r"take (\S+) off its unit"),
    "breakout": (r"put a breakout lead on (\S+)", r"take the breakout lead off (\S+)"),
}


class Literal:
    """A person who does exactly what is said, and knows nothing else."""

    def __init__(self) -> None:
        self.bay: dict[str, set[str]] = {name: set() for name in MOVES}
        self.moves: list[str] = []

    def ask(self, question: Question) -> str:
        if question.kind is QuestionKind.STATE:
            for move in question.todo:
                self._do(move)
        return ""

    def tell(self, text: str) -> None:
        """Nothing is done for it."""

    def _do(self, move: str) -> None:
        self.moves.append(move)
        if move.startswith(("open every connector", "stand clear", "supply")):
            return
        for name, (on, off) in MOVES.items():
            if match := re.fullmatch(on, move):
                self.bay[name].add("@".join(match.groups()))
                if name == "plugs":  # a plug closes all links of its connector, and takes them along when it goes
                    self.bay["links"] -= {end for end in self.bay["links"] if end.startswith(f"{match[1]}-")} - {
                        end for end in self.bay["links"] if end.endswith(("-ring", "-shell"))
                    }
                return
            if match := re.fullmatch(off, move):
                self.bay[name].remove("@".join(match.groups()))
                return
        raise AssertionError(f"nobody could do this: {move}")


class Led:
    """The operator of a person who moves things on a model bench: what was said must lead to the state that is wanted."""

    simulated = False
    waits = False
    unattended = False

    def __init__(self, job: Job) -> None:
        self.person = Literal()
        self._hands = job.bench.hands
        self._by_hand = ByHand(job.runner.harness, self.person, typed=False, commanded=True)

    def bring_to(self, now: BenchState, wanted: BenchState) -> None:
        self._by_hand.bring_to(now, wanted)
        there = BenchState(**{name: frozenset(names) for name, names in self.person.bay.items()})  # type: ignore[arg-type]
        assert there == replace(wanted, supply_on=False)
        self._hands.bring_to(wanted)

    def touch(self, red: str, black: str) -> None:
        self._hands.touch(red, black)

    def leads_read(self):
        """Nobody holds them."""

    def take(self, read, unit, *, lifted_passes):
        return read()

    def load(self, at: tuple[str, str] | None, amps: float) -> None:
        self._by_hand.load(at, amps)
        if at is None:
            self._hands.unload()
        else:
            self._hands.load(*at, amps)

    def tap(self, name: str, contact: str, ground: str, baud: int) -> None:
        self._hands.tap(name, contact, ground, baud)


@cache
def planned(profile: str, ways: Ways) -> tuple[Plan, Context]:
    harness = shipped(profile)[0]
    return make_plan(harness, MeterSpec(), ways), Context(harness, MeterSpec(), ways)


def job_in(ways: Ways, *faults: Fault, profile: str = "survey_launch", seed: int = 1) -> Job:
    plan, context = planned(profile, ways)
    return job_on(shipped(profile)[0], plan, context, faults, seed=seed)


@pytest.mark.parametrize("ways", WAYS, ids=str)
def test_a_sound_bay_passes_and_every_clip_and_plug_is_off_before_power(ways: Ways) -> None:
    made = job_in(ways)
    led = Led(made)
    made.runner._operator = made.runner._asker._operator = led
    board = made.run([Stage.DEAD, Stage.POWER])
    for stage in (Stage.DEAD, Stage.POWER):
        assert {board.outcome(step.id) for step in made.runner.plan.of_stage(stage)} == {Outcome.PASS}
    assert board.squawks == ()
    states = [BenchState.from_json(body["state"]) for body in made.record.bodies(EventKind.STATE)]
    assert any(state.links for state in states)
    assert any(state.coded for state in states) is (ways.identity is Identity.CODED)
    for state in states:
        if state.supply_on or state.on_unit:
            assert not state.plugs | state.links | state.coded


def test_a_contact_is_read_before_it_is_joined_and_joined_before_the_next_is_read() -> None:
    made = job_in(PLUG, profile="starter")
    led = Led(made)
    made.runner._operator = made.runner._asker._operator = led
    made.run([Stage.DEAD])
    told: list[str] = []
    for event in made.record.events():
        if event.kind == EventKind.STATE:
            told += [str(change) for change in event.body["changes"]]  # type: ignore[attr-defined]
        elif event.kind == EventKind.READING and str(event.body.get("step")).startswith("isolation:"):
            told.append(f"read {event.body['red']}")
    start = told.index("read TB1-1")
    assert told[start : start + 7] == [
        "read TB1-1",
        "join TB1-1 to chassis",
        "read P1-3",
        "join P1-3 to chassis",
        "read P1-4",
        "join P1-4 to chassis",
        "read P1-5",
    ]
    assert "put the shorting plug on P1 in place of its clips, its lead on chassis" in told


@pytest.mark.parametrize(
    "contacts",
    [
        ("P192-3", "P192-4"),  # neighbours
        ("P103-5", "P103-6"),
        ("P106-7", "GND1"),
        ("P101-1", "P101-2"),  # a feed
        ("P104-3", "P104-ring"),  # a shield
    ],
)
def test_a_short_is_found_by_one_reading_and_named(contacts: tuple[str, str]) -> None:
    made = job_in(PLUG, Short(contacts, 0.4), seed=3)
    board = made.run([Stage.DEAD])
    bundle = [r for r in board.results.values() if r.step.check == "isolation" and r.outcome is Outcome.FAIL]
    assert len(bundle) == 1, "of any two groups one was joined when the other was read"
    (squawk,) = board.squawks
    assert squawk.kind.value == "short"
    nets = shipped("survey_launch")[2].nets
    assert {nets.net_of(name) for name in squawk.where} == {nets.net_of(name) for name in contacts}
    assert set(squawk.steps) <= made.runner.plan.by_id.keys()
    assert bundle[0].step.id in squawk.steps


def test_power_stays_out_over_a_short_to_a_feed_and_not_over_one_elsewhere() -> None:
    feed = job_in(PLUG, Short(("P101-1", "P101-2"), 0.4))
    feed.run([Stage.DEAD])
    assert feed.runner.power_blockers()
    signals = job_in(PLUG, Short(("P192-3", "P192-4"), 0.4))
    signals.run([Stage.DEAD])
    assert signals.squawks
    assert signals.runner.power_blockers() == []


def test_a_short_that_was_mended_leaves_nothing_open() -> None:
    made = job_in(PLUG, Short(("P192-3", "P192-4"), 0.4))
    made.run([Stage.DEAD])
    again = made.rework()
    board = again.run([Stage.DEAD])
    assert board.squawks == ()
    assert {board.outcome(step.id) for step in again.runner.plan.of_stage(Stage.DEAD)} == {Outcome.PASS}


def test_a_session_that_starts_at_a_plug_looks_for_volts_before_it_goes_on() -> None:
    made = job_in(PLUG)
    step = next(step for step in made.runner.plan.steps if step.state.plugs)
    assert made.runner.run_step(step).outcome is Outcome.PASS
    log = made.bench.log
    states = [BenchState.from_json(body["state"]) for body in made.record.bodies(EventKind.STATE)]
    assert [bool(state.plugs | state.links) for state in states] == [False, True]
    assert log.index("volts") < max(number for number, what in enumerate(log) if what.startswith("state"))


def test_nothing_is_joined_to_a_feed_that_is_live() -> None:
    made = job_in(PLUG)
    made.bench.model.set_supply(24.0, 1.0, True)
    made.bench.supply.off = lambda: None  # type: ignore[method-assign]  # a supply whose output stays on
    made.bench.hands.bring_to = lambda state: made.bench.model.set_state(state)  # type: ignore[method-assign]
    step = next(step for step in made.runner.plan.steps if step.state.plugs)
    result = made.runner.run_step(step)
    assert result.outcome is Outcome.UNSURE
    states = [BenchState.from_json(body["state"]) for body in made.record.bodies(EventKind.STATE)]
    assert not any(state.plugs | state.links for state in states)


def test_swapped_conductors_are_named_through_coded_plugs() -> None:
    made = job_in(Ways(Isolation.PLUG, Identity.CODED), SwappedContacts(("P192-3", "P192-9")), seed=5)
    made.run([Stage.DEAD])
    ((kind, where),) = made.squawks
    assert kind == "swapped_contacts"
    assert set(where) >= {"P192-3", "P192-9"}  # and the far ends, where the same swap reads the same
