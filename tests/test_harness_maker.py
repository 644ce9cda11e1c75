"""The made harnesses: as large as asked for, the same each time, read without a fault, sound on paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from harness_maker import made, make, write

from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import Severity, review
from benchcheck.profile.load import load_profile

SIZES = [(24, 8), (60, 10), (300, 30), (1000, 50)]


@pytest.mark.parametrize(("runs", "connectors"), SIZES)
def test_as_many_runs_and_connectors_as_asked_for(runs: int, connectors: int) -> None:
    harness = made(runs, connectors, 1)
    assert len(harness.runs) == runs
    assert len(harness.connectors) == connectors


def test_the_same_arguments_give_the_same_harness() -> None:
    assert make(200, 20, 4) == make(200, 20, 4)
    assert make(200, 20, 4) != make(200, 20, 5)


def test_the_folder_loads_as_the_texts_do(tmp_path: Path) -> None:
    loaded = load_profile(write(tmp_path / "made", 120, 12, 2))
    harness = made(120, 12, 2)
    assert (loaded.runs, loaded.connectors, loaded.units) == (harness.runs, harness.connectors, harness.units)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("runs", "connectors"), SIZES)
def test_the_paper_review_finds_no_error(runs: int, connectors: int, seed: int) -> None:
    errors = [f for f in review(made(runs, connectors, seed)) if f.severity is Severity.FINDING]
    assert not errors, errors[:3]


def test_there_is_one_of_everything() -> None:
    harness = made(1000, 50, 1)
    roles = {run.role for run in harness.runs}
    assert roles >= {
        Role.POWER,
        Role.GROUND,
        Role.SIGNAL,
        Role.CAN_H,
        Role.CAN_L,
        Role.RS232_TX,
        Role.SHIELD,
        Role.BRIDGE,
    }
    assert {connector.family for connector in harness.connectors.values()} >= {"stud", "splice", "terminals", "dsub9"}
    assert harness.units
    assert harness.feeds
    assert harness.links
    assert harness.buses
    assert harness.parts
    assert len({connector.zone for connector in harness.connectors.values()}) > 0


@pytest.mark.parametrize(("runs", "connectors", "why"), [(10, 8, "at least"), (100, 3, "8"), (5000, 9, "can't take")])
def test_what_can_not_be_made_is_said(runs: int, connectors: int, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        make(runs, connectors, 1)
