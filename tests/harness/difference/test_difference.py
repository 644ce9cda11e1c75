"""What changed between two harnesses: nothing found in nothing, a planted edit found exactly, and the same both ways."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sample_profile import sample
from strategies import profile_files

from benchcheck.harness.difference.compare import Change, Difference, FieldChange, How, Swap, difference
from benchcheck.harness.difference.words import cosmetic_lines, matter_lines
from benchcheck.harness.model import Harness, Role, Run, RunState
from benchcheck.harness.reading.read_harness import read_harness

SAMPLE = sample()
WIRES = [run.wire for run in SAMPLE.runs]


def with_run(wire: str, /, **values: object) -> Harness:
    """The sample with some fields of one run changed."""
    return replace(
        SAMPLE,
        runs=tuple(replace(r, **values) if r.wire == wire else r for r in SAMPLE.runs),  # type: ignore[arg-type]
    )


def mirrored(found: Difference) -> Difference:
    """What the difference the other way round must be."""
    turned = {How.ADDED: How.REMOVED, How.REMOVED: How.ADDED}
    changes = [
        Change(
            c.kind,
            turned.get(c.how, c.how),
            c.former or c.name,
            tuple(FieldChange(f.field, f.now, f.was) for f in c.fields),
            c.name if c.former else "",
        )
        for c in found.changes
    ]
    return replace(found, changes=tuple(changes))


def as_set(found: Difference) -> set[object]:
    return {(c.kind, c.how, c.name, frozenset(c.fields), c.former) for c in found.changes}


# --- runs -----------------------------------------------------------------------------------------------------------


def test_a_run_added_and_removed() -> None:
    run = Run("W99", "P1-8", "P2-3", Role.SIGNAL, 22, 1.0)
    longer = replace(SAMPLE, runs=(*SAMPLE.runs, run))
    found = difference(SAMPLE, longer)
    ends = (FieldChange("from", "", "P1-8"), FieldChange("to", "", "P2-3"))
    assert found.changes == (Change("run", How.ADDED, "W99", ends),)
    assert found.contacts == {"P1-8", "P2-3"}
    assert found.conductors == found.laid == {"W99"}
    assert found.nets == (("P1-8", "P2-3"),)
    assert found.nets_before == ()
    gone = difference(longer, SAMPLE)
    assert [(c.how, c.name) for c in gone.changes] == [(How.REMOVED, "W99")]
    assert (gone.conductors, gone.conductors_before, gone.nets_before) == (frozenset(), {"W99"}, found.nets)


def test_a_moved_end_says_from_what_to_what() -> None:
    found = difference(SAMPLE, with_run("W8", b="P2-3"))
    assert found.changes == (Change("run", How.CHANGED, "W8", (FieldChange("to", "P2-7", "P2-3"),)),)
    assert found.contacts == {"P2-7", "P2-3"}  # its other end was not touched
    assert found.laid == frozenset()
    assert matter_lines(found) == ["run W8: to P2-3, was P2-7"]


def test_another_gauge_is_another_piece_of_wire_and_another_length_on_paper_is_not() -> None:
    assert difference(SAMPLE, with_run("W8", awg=20)).contacts == {"P1-3", "P2-7"}
    assert difference(SAMPLE, with_run("W8", length_m=9.0)).contacts == frozenset()
    assert difference(SAMPLE, with_run("W8", length_m=9.0)).matters


@pytest.mark.parametrize(("field", "value"), [("note", "x"), ("colour", "pink")])
def test_labels_are_told_apart(field: str, value: str) -> None:
    found = difference(SAMPLE, with_run("W8", **{field: value}))
    assert found.matters == ()
    assert [(c.name, [f.field for f in c.fields]) for c in found.cosmetic] == [("W8", [field])]
    assert (found.contacts, found.nets, found.units) == (frozenset(), (), frozenset())
    assert matter_lines(found) == []
    assert len(cosmetic_lines(found)) == 1


def test_zone_and_title_are_labels_too() -> None:
    connectors = {**SAMPLE.connectors, "P1": replace(SAMPLE.connectors["P1"], zone="mast")}
    assert difference(SAMPLE, replace(SAMPLE, connectors=connectors, title="Other")).matters == ()


def test_renumbered_runs_are_recognised_by_their_ends() -> None:
    found = difference(SAMPLE, with_run("W8", wire="W80"))
    assert found.changes == (Change("run", How.RENUMBERED, "W80", (), "W8"),)
    assert found.contacts == frozenset()
    assert matter_lines(found) == ["run W80 renumbered, likely W8 before"]


def test_two_exchanged_numbers_are_renumbered_and_nothing_is_rewired() -> None:
    runs = {run.wire: run for run in SAMPLE.runs}
    exchanged = {"W8": replace(runs["W9"], wire="W8"), "W9": replace(runs["W8"], wire="W9")}
    found = difference(SAMPLE, replace(SAMPLE, runs=tuple(exchanged.get(r.wire, r) for r in SAMPLE.runs)))
    assert {(c.name, c.former) for c in found.of("run", How.RENUMBERED)} == {("W8", "W9"), ("W9", "W8")}
    assert found.contacts == frozenset()


def test_swapped_contacts_are_named() -> None:
    found = difference(
        SAMPLE,
        replace(
            SAMPLE,
            runs=tuple(
                replace(r, a={"W8": "P1-5", "W9": "P1-3"}[r.wire]) if r.wire in ("W8", "W9") else r for r in SAMPLE.runs
            ),
        ),
    )
    assert found.swaps == (Swap(("P1-3", "P1-5"), ("W8", "W9")),)
    assert matter_lines(found) == ["runs W8 and W9: exchanged at P1-3 and P1-5"]
    assert found.contacts == {"P1-3", "P1-5"}


def test_from_and_to_exchanged_touches_nothing() -> None:
    found = difference(SAMPLE, with_run("W8", a="P2-7", b="P1-3"))
    assert len(found.matters) == 1  # a role is seen from the unit at `from`
    assert found.contacts == frozenset()


def test_a_planned_run_is_there_once_it_is_wired() -> None:
    planned = with_run("W8", state=RunState.PLANNED)
    assert difference(planned, SAMPLE).contacts == {"P1-3", "P2-7"}
    assert difference(planned, with_run("W8", state=RunState.PLANNED, awg=18)).contacts == frozenset()
    assert difference(SAMPLE, with_run("W8", state=RunState.PROVED)).contacts == frozenset()


def test_a_renamed_cable_is_the_same_cable() -> None:
    renamed = replace(SAMPLE, runs=tuple(replace(r, cable="C9") if r.cable == "C1" else r for r in SAMPLE.runs))
    found = difference(SAMPLE, renamed)
    assert len(found.matters) == 3
    assert found.contacts == frozenset()
    assert difference(SAMPLE, with_run("W6", cable="C9")).contacts == {"P1-6", "P2-4"}


# --- the rest ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "old", "new", "kind", "name", "line"),
    [
        ("harness.toml", "rating_a = 5.0", "rating_a = 7.5", "part", "CB1", "part CB1: rating in A 7.5, was 5"),
        ("harness.toml", "bitrate = 250000", "bitrate = 500000", "bus", "can1", "bus can1: bit rate 500000, was 250000"),
        ("harness.toml", "baud = 4800", "baud = 9600", "link", "position", "link position: baud 9600, was 4800"),
        ("harness.toml", "nominal_v = 24.0", "nominal_v = 28.0", "feed", "24V", "feed 24V: volts 28, was 24"),
        ("units/nav.toml", "load_a = 0.5", "load_a = 0.75", "unit type", "nav", "unit type nav: J1-1 load in A 0.75, was 0.5"),
        ("units/log.toml", "ohm = 120.0", "ohm = 60.0", "unit type", "log", "unit type log: terminator J1-4:J1-5 ohms 60, was 120"),
        ("harness.toml", 'family = "dsub9"', 'family = "dsub15"', "connector", "P1", None),
        ("harness.toml", "ambient_c = 20.0", "ambient_c = 25.0", "profile", "profile", "profile: ambient temperature in C 25, was 20"),
        ("harness.toml", 'types = ["GPGGA"]', 'types = ["GPZDA"]', "link", "position", "link position: talk P1-3 types GPZDA, was GPGGA"),
    ],
)  # fmt: skip
def test_one_edit_of_a_file_is_one_change(
    file: str, old: str, new: str, kind: str, name: str, line: str | None
) -> None:
    changes = [(file, old, new)]
    if kind == "connector":  # the unit's half goes with it
        changes.append(("units/nav.toml", 'family = "dsub9"', 'family = "dsub15"'))
    found = difference(SAMPLE, sample(*changes))
    own = found.of(kind)
    assert [change.name for change in own] == [name]
    if line is not None:
        assert matter_lines(found) == [line]
        assert found.changes == own


def test_contacts_and_units_that_other_edits_touch() -> None:
    part = difference(SAMPLE, sample(("harness.toml", "rating_a = 5.0", "rating_a = 7.5")))
    assert part.contacts == {"TB1-1", "TB1-2"}
    assert part.conductors == part.conductors_before == {"CB1"}
    unit = difference(SAMPLE, sample(("units/nav.toml", "load_a = 0.5", "load_a = 0.75")))
    assert (unit.contacts, unit.units) == (frozenset(), {"NAV"})
    assert difference(SAMPLE, sample(("units/nav.toml", 'title = "Navigator"', 'title = "N"'))).units == frozenset()


# --- any ----------------------------------------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(profile_files(), st.randoms(use_true_random=False))
def test_nothing_differs_from_itself_in_whatever_order_it_is_written(files: dict[str, str], random: object) -> None:
    harness = read_harness("drawn", files)
    shuffled = list(harness.runs)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    found = difference(harness, replace(harness, runs=tuple(shuffled)))
    assert not found
    assert (found.contacts, found.nets, found.swaps, found.units) == (frozenset(), (), (), frozenset())


EDITS = st.tuples(
    st.sampled_from(WIRES),
    st.sampled_from(["remove", "awg", "to", "note", "wire", "role", "cable"]),
)


def edited(edits: list[tuple[str, str]]) -> Harness:
    runs = {run.wire: run for run in SAMPLE.runs}
    for wire, what in edits:
        if wire not in runs:
            continue
        run = runs[wire]
        match what:
            case "remove":
                del runs[wire]
            case "awg":
                runs[wire] = replace(run, awg=(run.awg or 20) - 2)
            case "to":
                runs[wire] = replace(run, b=f"P2-{13 + len(wire)}")
            case "wire":
                runs[f"X{wire}"] = replace(runs.pop(wire), wire=f"X{wire}")
            case "role":
                runs[wire] = replace(run, role=Role.COAX)
            case "cable":
                runs[wire] = replace(run, cable=f"{run.cable}x")
            case _:
                runs[wire] = replace(run, note=f"{run.note}!")
    return replace(SAMPLE, runs=tuple(runs.values()))


@settings(max_examples=60, deadline=None)
@given(st.lists(EDITS, max_size=5))
def test_the_other_way_round_it_says_the_reverse(edits: list[tuple[str, str]]) -> None:
    other = edited(edits)
    there, back = difference(SAMPLE, other), difference(other, SAMPLE)
    assert as_set(mirrored(there)) == as_set(back)
    assert (there.contacts, there.nets, there.nets_before) == (back.contacts, back.nets_before, back.nets)
    assert (there.conductors, there.conductors_before) == (back.conductors_before, back.conductors)
    assert bool(there) == (other.runs != SAMPLE.runs)


@settings(max_examples=40, deadline=None)
@given(EDITS)
def test_one_planted_edit_is_the_one_change(edit: tuple[str, str]) -> None:
    wire, what = edit
    found = difference(SAMPLE, edited([edit]))
    (change,) = found.changes
    how = {"remove": How.REMOVED, "wire": How.RENUMBERED}.get(what, How.CHANGED)
    assert (change.kind, change.how, change.former or change.name) == ("run", how, wire)
    if how is How.CHANGED:
        assert [field.field for field in change.fields] == [what]
    assert bool(found.matters) == (what != "note")
