"""Continuity through a coded plug: the resistor that is read names the contact."""

from __future__ import annotations

from functools import cache

import pytest
from every_short import judged as judged_on
from every_short import planned
from judging import METER, ohms, over, verdict

from benchcheck.checks.kind import Context, all_kinds
from benchcheck.harness.coding import coded_runs, codes, told_apart
from benchcheck.harness.plug import CODE_PERCENT, code_ohm
from benchcheck.plan.plan import Plan
from benchcheck.simulator.faults import OpenRun, SwappedContacts, WrongContact
from benchcheck.simulator.model import BenchModel
from benchcheck.words.meter import MeterSpec
from benchcheck.words.step import Stage, Step
from benchcheck.words.verdict import Outcome
from benchcheck.words.ways import Identity, Isolation, Ways

CODED = Ways(Isolation.NEAR, Identity.CODED)
DEMO = "survey_launch"


@cache
def plan(profile: str = DEMO, ways: Ways = CODED) -> Plan:
    return planned(profile, ways)[1]


def coded_steps(profile: str = DEMO) -> list[Step]:
    return [step for step in plan(profile).steps if step.state.coded]


def other_codes(step: Step) -> dict[str, float]:
    plug = step.settings["codes"]
    assert isinstance(plug, dict)
    return {contact: ohm for contact, ohm in plug.items() if contact != step.settings["far"]}


def test_many_runs_of_the_demo_are_coded_and_every_other_is_as_before() -> None:
    direct = {s.id: s for s in plan(ways=Ways()).steps if s.check == "continuity"}
    made = {s.id: s for s in plan().steps if s.check == "continuity"}
    assert made.keys() == direct.keys()
    assert len(coded_steps()) > 80
    for name, step in made.items():
        assert step.state.coded or step == direct[name]


def test_the_leads_stay_at_the_near_end() -> None:
    harness = planned(DEMO, CODED)[0]
    for step in coded_steps():
        (plug,) = step.state.coded
        assert step.black == harness.chassis
        assert step.red.partition("-")[0] != plug
        assert str(step.settings["far"]).partition("-")[0] == plug
        assert {step.red, step.settings["far"]} == set(step.subject[1:])


def test_isolation_of_the_group_comes_before_its_resistor_is_read() -> None:
    """First open without the plug, then its resistor with it."""
    groups = planned(DEMO, CODED)[2].groups
    apart: set[int] = set()
    for step in plan().of_stage(Stage.DEAD):
        if step.check in ("isolation", "can_to_rail", "supply_to_ground"):
            if groups.number[step.black] == groups.number["GND1"]:
                apart.add(groups.number[step.red])
        elif step.state.coded:
            assert groups.number[step.red] in apart, step.id


def test_the_band_is_well_inside_half_the_way_to_the_next_resistor() -> None:
    for step in coded_steps():
        band, wire = step.band, float(str(step.settings["wire_ohm"]))
        assert band is not None
        assert band.low is not None
        assert band.high is not None
        middle = (band.low + band.high) / 2
        for ohm in other_codes(step).values():
            assert abs(ohm + wire - middle) / 2 > middle - band.low


def test_each_verdict() -> None:
    step = next(s for s in coded_steps() if str(s.settings["far"]) == "P192-3")
    code = code_ohm(2)
    assert verdict(step, ohms(code)).outcome is Outcome.PASS
    for off in (1 - CODE_PERCENT / 100, 1 + CODE_PERCENT / 100):
        assert verdict(step, ohms(code * off)).outcome is Outcome.PASS
    named = verdict(step, ohms(code_ohm(6)))
    assert (named.outcome, named.reason) == (Outcome.FAIL, "other_contact")
    assert "P192-7" in named.text
    assert verdict(step, over()).reason == "open"
    for bypassed in (0.0, 0.4, 20.0):
        found = verdict(step, ohms(bypassed))
        assert (found.outcome, found.reason) == (Outcome.FAIL, "joined")
    assert step.band is not None
    assert step.band.high is not None
    assert verdict(step, ohms(step.band.high + 0.05)).outcome is Outcome.UNSURE  # its own resistor, or a wrong one
    assert verdict(step, ohms(-20.0)).outcome is Outcome.UNSURE
    assert verdict(step, ohms(5e6)).reason == "open"
    assert verdict(step, ohms(3e4)).reason == "too_high"


def test_no_contact_passes_for_another() -> None:
    """Whatever both resistors are off, and whatever the meter is off."""
    for step in coded_steps():
        wire = float(str(step.settings["wire_ohm"]))
        for contact, ohm in other_codes(step).items():
            for off in (-CODE_PERCENT, 0.0, CODE_PERCENT):
                true = ohm * (1 + off / 100) + wire
                for read in (true - METER.ohm_uncertainty(true), true, true + METER.ohm_uncertainty(true)):
                    assert all_kinds()["continuity"].judge(step, ohms(read)).outcome is not Outcome.PASS, contact


def test_a_meter_that_cannot_tell_the_resistors_apart_uses_no_plug() -> None:
    harness, _, context = planned(DEMO, CODED)
    coarse = MeterSpec(ohm_percent=3.0)
    made = all_kinds()["continuity"].steps(Context(harness, coarse, CODED))
    assert not any(step.state.coded for step in made)
    assert not told_apart(harness.connectors["P192"], coarse.ohm_uncertainty)
    assert coded_runs(harness, context.groups, alone=lambda run: True, uncertainty_ohm=coarse.ohm_uncertainty) == {}


def test_a_plug_for_every_contact_of_the_largest_connector() -> None:
    harness = planned(DEMO, CODED)[0]
    for connector in harness.connectors.values():
        ohms_of = list(codes(connector).values())
        assert ohms_of == sorted(set(ohms_of))


def failing(*faults: object) -> dict[str, str]:
    harness = planned(DEMO, CODED)[0]
    model = BenchModel(harness, faults, seed=7)  # type: ignore[arg-type]
    found = {}
    for step in coded_steps():
        said = judged_on(model, step).verdict
        if said.outcome is not Outcome.PASS:
            found[step.id] = f"{said.outcome.value} {said.reason} {said.text}"
    return found


def test_swapped_contacts_name_each_other() -> None:
    one, other = [s for s in coded_steps() if s.state.coded == {"P192"}][:2]
    ends = (str(one.settings["far"]), str(other.settings["far"]))
    found = failing(SwappedContacts(ends))
    assert found.keys() == {one.id, other.id}
    assert found[one.id].startswith("FAIL other_contact")
    assert ends[1] in found[one.id]
    assert ends[0] in found[other.id]


def test_a_run_in_a_vacant_contact_names_it() -> None:
    (name, text), *more = failing(WrongContact("W709", "P113-22", "P113-2")).items()
    assert not more
    assert name == "continuity:W709"
    assert text.startswith("FAIL other_contact")
    assert "P113-2 " in text


@pytest.mark.parametrize("number", [0, 20, 50])
def test_an_open_run_is_open(number: int) -> None:
    step = coded_steps()[number]
    found = failing(OpenRun(step.subject[0]))
    assert found[step.id].startswith("FAIL open")
