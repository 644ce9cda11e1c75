"""Each rule of the paper review finds its own fixtures, and no other rule does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import review_bay
from hypothesis import given, settings
from review_fixtures import FIXTURES, Fixture, H, P
from sample_profile import sample
from strategies import mutilated

from benchcheck.harness.model import Role, RunState
from benchcheck.harness.reading.read_harness import read_harness, read_partly
from benchcheck.harness.review.rule import Rule, Severity, TableRule, all_rules, review, review_rule
from benchcheck.profile.load import load_profile
from benchcheck.words.errors import FaultyFiles


def test_the_sample_is_clean() -> None:
    assert review(sample()) == ()


def test_the_bay_is_clean() -> None:
    assert review(read_harness("bay", review_bay.FILES, databases={"net.dbc": review_bay.DATABASE})) == ()


@pytest.mark.parametrize("fixture", FIXTURES, ids=lambda f: f"{f.rule}:{f.where[0]}")
def test_a_fixture_breaks_its_rule_alone(fixture: Fixture) -> None:
    told = fixture.read()
    assert told.harness is not None, told.faults
    found = review(told.harness, told.faults)
    assert {finding.code for finding in found} == {fixture.rule}
    assert fixture.where in [finding.where for finding in found]
    assert all(finding.place.file in (H, P) and finding.place.line for finding in found)
    # what the table itself has wrong loads for no other command
    assert bool(told.faults) or not isinstance(all_rules()[fixture.rule], TableRule)
    assert {fault.code for fault in told.faults} <= {fixture.rule}
    if told.faults:
        with pytest.raises(FaultyFiles):
            read_harness("fixture", fixture.texts(), databases={"net.dbc": fixture.database})


def test_every_rule_has_a_fixture_and_says_everything() -> None:
    rules = all_rules()
    assert set(rules) == {fixture.rule for fixture in FIXTURES}
    for code, rule in rules.items():
        assert type(rule).__module__ == f"benchcheck.harness.review.{code}"
        assert all((rule.title, rule.why, rule.do, rule.source))


def test_one_thing_missing_is_one_finding() -> None:
    """A run or part that is left out of the demo is told by one rule only, whatever follows from it."""
    launch = load_profile(Path(__file__).parents[3] / "profiles" / "survey_launch")
    told = 0
    for number, run in enumerate(launch.runs):
        # W204 alone leaves its current to two thin wires, which is two things
        if run.wire != "W204" and (run.role in (Role.POWER, Role.GROUND, Role.CAN_H) or number % 8 == 0):
            found = review(replace(launch, runs=tuple(other for other in launch.runs if other is not run)))
            assert len({finding.code for finding in found}) <= 1, run.wire
            told += bool(found)
    for part in launch.parts:
        found = review(replace(launch, parts=tuple(other for other in launch.parts if other is not part)))
        assert len({finding.code for finding in found}) == (part.ref != "R1"), part.ref
    assert told > 50


def test_faults_of_rows_hide_only_what_may_follow_from_them() -> None:
    fixture = Fixture("", (), (
        (P, "W3,P1-2,GND1,", "W3,P1-2,,"),  # a ground run with one end
        (P, "W9,P1-5,P2-8,22,1.5,signal,,,grey,\n", ""),  # elsewhere a run was forgotten
        (P, "W8,P1-3,P2-7,22", "W8,P1-3,P2-7,18"),
    ))  # fmt: skip
    told = fixture.read()
    assert told.harness is not None
    codes = [finding.code for finding in review(told.harness, told.faults)]
    assert codes[0] == "run_with_one_end"
    assert set(codes) == {"run_with_one_end", "forgotten_run", "gauge_contact_size"}


@given(mutilated(review_bay.FILES))
@settings(max_examples=120, deadline=None)
def test_whatever_can_be_read_in_part_can_be_reviewed(files: dict[str, bytes | str]) -> None:
    told = read_partly("drawn", files, databases={"net.dbc": review_bay.DATABASE})
    assert told.harness is not None or told.faults
    if told.harness is not None:
        for finding in review(told.harness, told.faults):
            assert str(finding).isprintable()
            assert finding.code in all_rules()


def test_what_is_only_planned_counts_on_paper() -> None:
    """A harness that is not wired yet is reviewed as it is to be."""
    whole = sample()
    assert review(replace(whole, runs=tuple(replace(r, state=RunState.PLANNED) for r in whole.runs))) == ()


def test_findings_come_before_warnings() -> None:
    found = review(sample((P, "W3,P1-2,GND1,22,1.2,ground,,,black,\n", ""), (H, 'zone = "left"\n', "")))
    assert [finding.severity for finding in found] == [Severity.FINDING, Severity.WARNING]
    assert found[0].to_json()["line"] == 7


def test_a_code_stands_for_one_rule() -> None:
    class Again(type(all_rules()["no_zone"])):  # type: ignore[misc]
        pass

    with pytest.raises(ValueError, match="no_zone"):
        review_rule(Again)
    assert issubclass(Again, Rule)
