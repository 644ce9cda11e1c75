"""What every check kind keeps, whichever it is: found from the files, so a new one is held to it at once."""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import replace

import pytest
from judging import volts
from model_bench import shipped

import benchcheck.checks
from benchcheck.checks.kind import CheckKind, Context, all_kinds, check_kind
from benchcheck.harness.nets import Nets
from benchcheck.words.contact import RING, SHELL, pin_of, ref_of
from benchcheck.words.reading import Reading
from benchcheck.words.request import Request
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Outcome

PROFILES = ("starter", "survey_launch")
KINDS = sorted(all_kinds())
UNITS = {Quantity.OHMS: "ohm", Quantity.VOLTS: "V", Quantity.AMPS: "A"}


def steps_of(kind: str, profile: str) -> list[Step]:
    return list(all_kinds()[kind].steps(shipped(profile)[2]))


def test_every_file_is_a_kind_and_every_kind_a_file() -> None:
    files = {module.name for module in pkgutil.iter_modules(benchcheck.checks.__path__)} - {"kind"}
    assert set(KINDS) == files
    for name, kind in all_kinds().items():
        assert type(kind).__module__ == f"benchcheck.checks.{name}"
        assert kind.name == name


def test_a_name_can_be_taken_once_only() -> None:
    with pytest.raises(ValueError, match="continuity"):

        @check_kind
        class Again(CheckKind):
            name = "continuity"

            def steps(self, context: Context) -> list[Step]:
                return []


def test_ranks_are_unique_so_that_the_order_is_one() -> None:
    ranks = [kind.rank for kind in all_kinds().values()]
    assert len(set(ranks)) == len(ranks)


@pytest.mark.parametrize("name", KINDS)
def test_a_kind_says_what_it_is_for(name: str) -> None:
    kind = all_kinds()[name]
    module = importlib.import_module(type(kind).__module__)
    assert module.__doc__
    assert kind.title == kind.title.strip() != ""
    assert isinstance(kind.stage, Stage)
    assert kind.reasons
    for code, look in kind.reasons.items():
        assert code.isidentifier()
        assert code == code.lower()
        assert len(look) > 20, f"{name}: {code} does not say what to look at"


@pytest.mark.parametrize("profile", PROFILES)
def test_every_kind_has_work_on_the_profiles_that_come_along(profile: str) -> None:
    idle = {name for name in KINDS if not steps_of(name, profile)}
    # asked only where a profile names runs under [[in_band]], or a link with loop_back = true: see
    # tests/checks/test_run_resistance.py and tests/jobs/test_loop_back.py
    assert idle == {"run_resistance", "loop_back"}


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("name", KINDS)
def test_the_steps_of_a_kind(name: str, profile: str) -> None:
    kind, (harness, _, _) = all_kinds()[name], shipped(profile)
    steps = steps_of(name, profile)
    assert len({step.id for step in steps}) == len(steps)
    known = Nets(harness)
    refs, units = set(harness.connectors), set(harness.units)
    named = {*units, *(b.name for b in harness.buses), *(li.name for li in harness.links)}
    named |= {f.name for f in harness.feeds} | {r.wire for r in harness.runs} | {p.ref for p in harness.parts}
    for step in steps:
        assert step.check == name
        assert step.id.startswith(f"{name}:")
        # the whole bus can be read only with the units in, which the power stage lets in one by one
        late = step.settings.get("whole_bus") is True
        assert step.stage is (Stage.POWER if late else kind.stage)
        assert step.question.endswith("?"), step.question
        assert step.subject
        # what it is judged by, and where that comes from
        if step.band is None:
            assert step.quantity in (Quantity.CAN, Quantity.LINE, Quantity.LOOK), step.id
            assert step.note, f"{step.id} says nothing of how it is judged"
        else:
            assert len(step.band.source) > 10
            assert step.band.low is not None or step.band.high is not None
            assert step.band.unit == UNITS.get(step.quantity, step.band.unit)
        # what is touched exists, has a conductor, and can be reached in that state
        is_probing = step.quantity in (Quantity.OHMS, Quantity.VOLTS)
        assert (bool(step.red) and bool(step.black)) if is_probing else True
        for contact in filter(None, (step.red, step.black)):
            plain = contact.rpartition("@")[2]
            assert known.net_of(plain) is not None, f"{step.id}: nothing is wired to {contact}"
            if "@" in contact:
                assert contact in step.state.lifted
            elif is_probing or step.quantity is Quantity.LINE:
                ref, pin = ref_of(contact), pin_of(contact)
                assert ref not in step.state.on_unit or ref in step.state.breakout or pin in (SHELL, RING), step.id
        assert step.red != step.black or not step.red
        for word in step.subject:
            assert word in named or known.net_of(word) is not None, f"{step.id}: what is {word}?"
        # the bench state can be made
        assert step.state.on_unit | step.state.breakout <= refs
        assert (step.stage is Stage.DEAD or late) == (not step.state.supply_on)
        assert step.load_a >= 0


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("name", KINDS)
def test_the_same_profile_gives_the_same_steps(name: str, profile: str) -> None:
    harness, _, context = shipped(profile)
    again = list(all_kinds()[name].steps(Context(harness, context.meter)))
    assert again == steps_of(name, profile)


@pytest.mark.parametrize("name", KINDS)
def test_no_reading_is_never_a_verdict(name: str) -> None:
    """Whatever is asked and not answered, the step is UNSURE: no PASS, and no FAIL either."""
    for profile in PROFILES:
        for step in steps_of(name, profile):
            asked = 0
            measuring = all_kinds()[name].measure(step)
            request = next(measuring)
            try:
                while True:
                    asked += 1
                    assert isinstance(request, Request)
                    assert asked < 20, "asks without end"
                    request = measuring.send(Reading.none("link lost", UNITS.get(request.quantity, "")))
            except StopIteration as stop:
                judged = stop.value
            assert judged.verdict.outcome is Outcome.UNSURE, step.id
            assert "link lost" in judged.verdict.text


@pytest.mark.parametrize("name", KINDS)
def test_a_kind_asks_for_what_its_step_says(name: str) -> None:
    for step in steps_of(name, "survey_launch"):
        measuring = all_kinds()[name].measure(step)
        request = next(measuring)
        if request.quantity is Quantity.EARLIER:  # what was read before decides whether anything is joined
            assert request.source in shipped("survey_launch")[1].by_id
            request = measuring.send(volts(-7.0))
        assert request.quantity is step.quantity
        assert request.state == step.state or step.check == "unit_current"
        if step.quantity is Quantity.OHMS:
            assert (request.red, request.black) == (step.red, step.black)


def test_ohms_are_never_asked_with_the_supply_on() -> None:
    for profile in PROFILES:
        for step in shipped(profile)[1].steps:
            if step.quantity is Quantity.OHMS:
                assert not step.state.supply_on


def test_a_harness_without_feeds_buses_and_links_needs_no_steps_of_them() -> None:
    harness, _, context = shipped("starter")
    bare = replace(harness, feeds=(), buses=(), links=(), signals=(), units={}, parts=())
    made = {name for name in KINDS if list(all_kinds()[name].steps(Context(bare, context.meter)))}
    assert made == {"continuity", "isolation"}
    empty = replace(bare, runs=(), connectors={})
    assert not [name for name in KINDS if list(all_kinds()[name].steps(Context(empty, context.meter)))]
