"""The bundle that grows: every two groups meet in exactly one reading, and the state stays short."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from model_bench import shipped

from benchcheck.harness.bundle import CLIPPED_FAMILIES, MOST_CLIPS, clip_point, hubs, walk
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import RING, SHELL, join, pin_of, ref_of

PROFILES = ("starter", "survey_launch")


def bundle_of(profile: str, state: BenchState) -> set[int]:
    harness, _, context = shipped(profile)
    groups = context.groups
    joined = {harness.chassis, *state.links}
    joined |= {join(ref, pin) for ref in state.plugs for pin in harness.connectors[ref].contacts}
    return {groups.number[contact] for contact in joined if contact in groups.number}


@pytest.mark.parametrize("profile", PROFILES)
def test_every_two_groups_meet_in_one_reading(profile: str) -> None:
    harness, _, context = shipped(profile)
    met: list[frozenset[int]] = []
    for joining in walk(harness, context.groups):
        bundle = bundle_of(profile, joining.state)
        assert joining.group not in bundle, "what is read is outside of the bundle"
        met += [frozenset((joining.group, other)) for other in bundle]
    count = len(context.groups)
    assert len(met) == len(set(met)) == count * (count - 1) // 2


@pytest.mark.parametrize("profile", PROFILES)
def test_every_contact_that_is_read_can_be_reached(profile: str) -> None:
    harness, _, context = shipped(profile)
    for joining in walk(harness, context.groups):
        assert ref_of(joining.red) not in joining.state.plugs or pin_of(joining.red) in (RING, SHELL)


@pytest.mark.parametrize("profile", PROFILES)
def test_a_finished_connector_is_one_name(profile: str) -> None:
    harness, _, context = shipped(profile)
    for joining in walk(harness, context.groups):
        per_connector: dict[str, int] = {}
        for link in joining.state.links:
            if pin_of(link) not in (RING, SHELL, ""):
                per_connector[ref_of(link)] = per_connector.get(ref_of(link), 0) + 1
        several = [ref for ref, number in per_connector.items() if number > 1]
        assert len([ref for ref in several if harness.connectors[ref].family not in CLIPPED_FAMILIES]) <= 1
        assert not per_connector.keys() & joining.state.plugs
        assert all(harness.connectors[ref].family not in CLIPPED_FAMILIES for ref in joining.state.plugs)


@pytest.mark.parametrize("profile", PROFILES)
def test_each_reading_joins_one_thing_more_and_nothing_is_taken_off(profile: str) -> None:
    harness, _, context = shipped(profile)
    now = ALL_OPEN
    for joining in walk(harness, context.groups):
        changes = now.changes_to(joining.state)
        assert all(change.startswith(("join ", "put the shorting plug on ")) for change in changes)
        assert len(changes) <= 1
        now = joining.state


def test_the_feeds_come_first() -> None:
    harness, _, context = shipped("survey_launch")
    reds = [joining.red for joining in walk(harness, context.groups)]
    assert reds[:2] == [feed.source for feed in harness.feeds]


def test_a_clip_goes_on_a_ring_or_stud_before_a_cavity_and_on_a_splice_last() -> None:
    harness = shipped("survey_launch")[0]
    assert clip_point(harness, ("P101-4", "P101-ring")) == "P101-ring"
    assert clip_point(harness, ("P101-4", "GND2")) == "GND2"
    assert clip_point(harness, ("SP1", "P103-9")) == "P103-9"
    assert clip_point(harness, ("SP1",)) == "SP1"


def test_hubs_are_those_that_save_most() -> None:
    star = {0: set(range(1, 20)), **{number: {0} for number in range(1, 20)}}
    assert hubs(star, set(range(20)), set()) == (0,)
    assert hubs(star, set(range(1, 20)), set()) == ()  # where the hub may not be clipped, nothing is saved
    assert hubs({0: {1, 2}, 1: {0}, 2: {0}}, {0, 1, 2}, set()) == ()  # two readings less are not worth a clip


@given(st.sets(st.tuples(st.integers(0, 30), st.integers(0, 30)), max_size=200))
@settings(max_examples=30)
def test_hubs_are_few_and_among_those_that_may_be_clipped(edges: set[tuple[int, int]]) -> None:
    wanted: dict[int, set[int]] = {}
    for one, other in edges:
        if one != other:
            wanted.setdefault(one, set()).add(other)
            wanted.setdefault(other, set()).add(one)
    able = {number for number in wanted if number % 3}
    found = hubs(wanted, able, set())
    assert len(found) == len(set(found)) <= MOST_CLIPS
    assert set(found) <= able
