"""`benchcheck plan`: every step is there, with its limit and where that comes from, within 80 columns."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from benchcheck.checks.kind import all_kinds
from benchcheck.cli.main import run
from benchcheck.plan.plan import make_plan
from benchcheck.profile.load import load_profile
from benchcheck.words.step import Stage

PROFILES = Path(__file__).parents[2] / "profiles"


@pytest.fixture(scope="module")
def launch():
    return make_plan(load_profile(PROFILES / "survey_launch"))


def test_json_has_every_step_in_order(launch, capsys):
    assert run(["plan", "survey_launch", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    listed = [step for group in document["groups"] for step in group["steps"]]
    assert [step["id"] for step in listed] == [step.id for step in launch.steps]
    assert [step["number"] for step in listed] == list(range(1, len(listed) + 1))
    assert document["probe_moves"] == launch.probe_moves
    assert sum(stage["steps"] for stage in document["stages"].values()) == document["steps"] == len(launch.steps)
    limits = {step["id"]: step["limit"] for step in listed}
    assert all(limit is None or limit["source"] for limit in limits.values())
    assert limits["bus_load:can1"]["source"] == "profile: max_load_percent"


def test_text_fits_a_terminal_and_says_what_to_move(launch, capsys):
    assert run(["plan", "survey_launch"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) <= 80
    numbers = [int(found[1]) for line in lines if (found := re.match(r" {2,6}(\d+)  \S", line))]
    assert numbers == list(range(1, len(launch.steps) + 1))
    lifted = next(step for step in launch.steps if step.state.lifted)
    wire, _, contact = next(iter(lifted.state.lifted)).partition("@")
    assert f"    - lift {wire} off {contact}" in lines
    assert f"    - put {wire} back on {contact}" in lines
    assert "    - supply on" in lines


def test_what_a_list_shares_is_said_once_and_nothing_is_lost(capsys):
    plan = make_plan(load_profile(PROFILES / "starter"))
    assert run(["plan", "starter", "--stage", "dead"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    head, _, rest = text.partition("all connectors open")[2].partition(" At ")
    walk = rest.partition("Bench:")[0]
    # each kind is named with the number of its steps; what isolation and CAN to rail share stands there, once
    first = next(plan.groups()).steps
    for check in {step.check for step in first}:
        assert f"{all_kinds()[check].title} ({sum(step.check == check for step in first)})" in head
    assert head.count("limit: at least 1 Mohm (profile limit isolation_ohm; coarse") == 1
    assert head.count("not an insulation resistance test") == 1
    assert walk.count("not an insulation resistance test") == 1  # the one step of its kind has nothing to share
    # runs differ in length and gauge, so each has its own limit
    assert walk.count("go from") == sum(step.check == "continuity" for step in first)
    assert walk.count("limit: at most") >= walk.count("go from")
    assert "POWER STAGE" not in text


def test_the_walk_is_cut_at_the_connectors(capsys):
    assert run(["plan", "starter", "--stage", "dead"]) == 0
    lines = capsys.readouterr().out.splitlines()
    at = ""
    seen = 0
    for line in lines:
        if line.startswith(("  At ", "  Bench: ")):
            at = line if line.startswith("  At ") else ""
        elif at and (found := re.match(r" +\d+  (\S+) to (\S+):", line)):
            refs = {contact.partition("-")[0] for contact in found.groups()}
            assert any(f" {ref} (" in f" {at.strip()}" for ref in refs), (at, line)
            seen += 1
    assert seen > 20
    assert "  At P1 (left shelf)" in lines


@pytest.mark.parametrize("stage", [None, "dead", "power", "live"])
def test_moves_stand_beside_the_fewest_possible(launch, capsys, stage):
    part = launch if stage is None else launch.only(Stage(stage))
    only = [] if stage is None else ["--stage", stage]
    assert run(["plan", "survey_launch", "--json", *only]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["probe_moves"] == part.effort.moves
    assert document["lower_bound_moves"] == part.least_effort.moves <= document["probe_moves"]
    assert document["ratio"] == pytest.approx(part.moves_ratio, abs=1e-4)
    assert document["cost_s"] == part.effort.seconds >= document["cost_bound_s"] == part.least_effort.seconds
    assert document["connector_changes"] == part.effort.connectors
    assert document["zone_changes"] == part.effort.zones
    assert document["bench_changes"] == part.effort.changes
    assert run(["plan", "survey_launch", *only]) == 0
    row = next(line.split() for line in capsys.readouterr().out.splitlines() if line.split()[:1] == [stage or "all"])
    cost = part.effort
    ratio = f"{part.moves_ratio:.2f}" if cost.moves else "-"
    assert row[1:7] == [
        str(len(part.steps)), str(cost.moves), str(part.least_effort.moves), ratio, str(cost.connectors), str(cost.zones)
    ]  # fmt: skip


def test_plain_is_one_line_a_step(capsys):
    plan = make_plan(load_profile(PROFILES / "starter"))
    assert run(["plan", "starter", "--plain"]) == 0
    rows = [line.split("\t") for line in capsys.readouterr().out.splitlines()]
    assert [row[2] for row in rows] == [step.id for step in plan.steps]
    assert {len(row) for row in rows} == {8}
    by_id = {row[2]: row for row in rows}
    assert by_id["feed_volts:P1-1:P1-2"][3] == "P1-1 to P1-2"
    assert by_id["feed_volts:P1-1:P1-2"][5] == "limit: 21.6 V to 26.4 V (profile: 24V main, 24 V ± 10 percent)"


def test_a_profile_that_is_not_there(capsys):
    assert run(["plan", "startr"]) == 2
    assert "starter" in capsys.readouterr().err
