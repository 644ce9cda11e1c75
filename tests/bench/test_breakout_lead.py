"""A breakout lead as an instrument: whether it fits, whether its self-check holds, what it adds."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.breakout_lead import BreakoutLead, choose, default_within_ohm, taken_off
from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Connector, Gender
from benchcheck.words.reading import Reading, ReadingState

DAY = date(2031, 5, 4)
LEAD = BreakoutLead("lead A", "dsub25", Gender.PIN, 0.08, 0.02, DAY, 30)


def connector(ref="P101", family="dsub25", gender=Gender.SOCKET):
    rows = FAMILIES[family].rows
    return Connector(ref, family, gender, tuple(pin for row in rows for pin in row), rows)


@pytest.mark.parametrize(
    ("lead", "why"),
    [
        (LEAD, ""),
        (replace(LEAD, family="dsub9"), "is a dsub9"),
        (replace(LEAD, gender=Gender.SOCKET), "has sockets, and so has P101"),
        (replace(LEAD, at="P102"), "is for P102"),
        (replace(LEAD, at="P101"), ""),
        (replace(LEAD, sockets={"A": "1"}), "has no socket for contact 2, 3, 4"),
        (replace(LEAD, sockets={f"s{n}": str(n) for n in range(1, 26)}), ""),
    ],
)
def test_whether_it_fits(lead, why):
    found = lead.misfit(connector())
    assert why in found
    assert bool(found) == bool(why)


@pytest.mark.parametrize(
    ("days", "why"),
    [(0, ""), (30, ""), (31, "good for 30 days"), (-1, ""), (-2, "still to come"), (4000, "2031-05-04")],
)
def test_a_self_check_is_good_for_its_days(days, why):
    found = LEAD.overdue(DAY + timedelta(days=days))
    assert why in found
    assert bool(found) == bool(why)
    assert "no self-check that it passed" in replace(LEAD, checked=None).overdue(DAY)


def test_labels_are_given_where_they_differ():
    assert LEAD.labels() == {}
    assert replace(LEAD, sockets={"A": "1", "2": "2"}).labels() == {"1": "A"}


def test_choosing_a_lead():
    p101, p102, pins = connector("P101"), connector("P102"), connector("P193", gender=Gender.PIN)
    bound = replace(LEAD, name="lead B", at="P102")
    # the bound one goes where it belongs, and each is in one place
    assert choose([LEAD, bound], [p102, p101], DAY).leads == {"P101": LEAD, "P102": bound}
    both = choose([LEAD], [p101, p102], DAY)
    assert both.leads == {"P101": LEAD}
    assert "lead A is in use" in both.refusals[0]
    none = choose([LEAD], [pins], DAY)
    assert none.leads == {}
    assert none.refusals == (
        "breakout lead at P193: none in bench.toml fits. Name one for a dsub25 with sockets under [[breakouts]]",
    )
    late = choose([LEAD], [p101], DAY + timedelta(days=31))
    assert late.leads == {}
    assert "good for 30 days. Do its self-check (benchcheck breakout --check NAME), or put the day" in late.refusals[0]
    # a fresh one goes before an overdue one that is meant for the connector
    old = replace(LEAD, name="old", at="P101", checked=DAY - timedelta(days=99))
    assert choose([old, LEAD], [p101], DAY).leads == {"P101": LEAD}
    assert choose([], [], DAY).refusals == ()


@given(st.lists(st.sampled_from(["", "P1", "P2", "P3"]), max_size=5), st.sets(st.sampled_from(["P1", "P2", "P3"])))
@settings(max_examples=60)
def test_as_many_connectors_as_can_be_get_a_lead(bound, refs):
    leads = [replace(LEAD, name=f"lead {n}", at=at) for n, at in enumerate(bound)]
    chosen = choose(leads, [connector(ref) for ref in refs], DAY)
    own = {ref for ref in refs if ref in bound}
    assert len(chosen.leads) == min(len(refs), len(own) + bound.count(""))
    assert len({lead.name for lead in chosen.leads.values()}) == len(chosen.leads)
    assert len(chosen.leads) + len(chosen.refusals) == len(refs)


def test_what_its_ways_add_is_taken_off():
    reading = Reading(ReadingState.VALUE, "ohm", 0.53, 0.3, instrument="m", detail={"range": 600})
    # worked by hand: two ways of 0.08 within 0.02 ohm
    through = taken_off(reading, [LEAD, LEAD])
    assert through.value == pytest.approx(0.37)
    assert through.uncertainty == pytest.approx(0.34)
    assert through.detail == {"range": 600, "breakout_ohm": 0.16, "breakout_within_ohm": 0.04}
    assert taken_off(reading, []) is reading
    for state in (ReadingState.OVER, ReadingState.NONE):
        other = Reading(state, "ohm", over_above=40e6)
        assert taken_off(other, [LEAD]) is other
    other_lead = taken_off(replace(reading, value=0.1), [replace(LEAD, ohm=2.0)])
    assert other_lead.state is ReadingState.NONE
    assert "less than nothing" in str(other_lead.detail["why"])


def test_how_well_a_way_is_known_where_nobody_says():
    assert default_within_ohm(0.0) == 0.02
    assert default_within_ohm(0.4) == pytest.approx(0.1)
