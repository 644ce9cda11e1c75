"""How contacts are touched, in each bench state. Never a probe tip in a socket: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sample_profile import sample

from benchcheck.harness.connector.access import Access, TouchKind, touch_words
from benchcheck.harness.connector.geometry import Face
from benchcheck.harness.model import Connector, Gender, Harness, Role, Run
from benchcheck.words.bench_state import ALL_OPEN, BenchState

PLUGGED = BenchState(on_unit=frozenset({"P1", "P2", "P3"}))


@pytest.fixture(scope="module")
def harness() -> Harness:
    coax = Connector("X1", "coax", Gender.SOCKET, ("centre",), (("centre",),))
    found = sample()
    return replace(
        found,
        connectors={**found.connectors, "X1": coax, "X2": replace(coax, ref="X2", gender=Gender.PIN)},
    )


@pytest.mark.parametrize(
    ("contact", "state", "kind", "words", "face"),
    [
        ("GND1", ALL_OPEN, TouchKind.STUD, "probe or clip on the stud", None),
        ("W3@GND1", ALL_OPEN, TouchKind.LUG, "clip on the lug of W3, lifted off GND1", None),
        ("TB1-3", PLUGGED, TouchKind.SCREW, "on its screw; 2nd from the right", None),
        ("P1-shell", PLUGGED, TouchKind.SHELL, "bare metal of the shell, no paint", None),
        ("P2-ring", ALL_OPEN, TouchKind.RING, "probe or clip on the ring terminal that gathers the drains", None),
        (
            "P1-7",
            ALL_OPEN,
            TouchKind.SOCKET,
            "matching test pin of size 20, never a probe tip in a socket: it spreads it; "
            "lower row, 2nd from the right, looking at the mating face (sockets)",
            Face.MATING,
        ),
        (
            "P2-7",
            ALL_OPEN,
            TouchKind.PIN,
            "test clip or test socket of size 20 on the pin; "
            "upper row, 2nd from the right, looking at the mating face (pins)",
            Face.MATING,
        ),
        (
            "P1-7",
            PLUGGED,
            TouchKind.BACK,
            "on the back of P1, plugged into its unit, only while its cover is open; "
            "lower row, 2nd from the left, looking at the wiring side",
            Face.WIRING,
        ),
        (
            "P1-7",
            replace(PLUGGED, breakout=frozenset({"P1"})),
            TouchKind.BREAKOUT,
            "socket 7 of the breakout lead at P1",
            None,
        ),
        (
            "P2-7",
            BenchState(plugs=frozenset({"P2"})),
            TouchKind.BACK,
            "on the back of P2, with the shorting plug on, only while its cover is open; "
            "upper row, 2nd from the left, looking at the wiring side",
            Face.WIRING,
        ),
        (
            "P3-A",
            ALL_OPEN,
            TouchKind.SOCKET,
            "matching test pin (size not in the profile), never a probe tip in a socket: it spreads it; "
            "upper row, 1st from the right, looking at the mating face (sockets)",
            Face.MATING,
        ),
        (
            "X1-centre",
            ALL_OPEN,
            TouchKind.SOCKET,
            "matching test pin (size not in the profile) in the centre, never a probe tip in a socket: it spreads it; "
            "mating face",
            Face.MATING,
        ),
        (
            "X2-centre",
            ALL_OPEN,
            TouchKind.PIN,
            "test clip or test socket (size not in the profile) on the centre pin; mating face",
            Face.MATING,
        ),
    ],
)
def test_how_it_is_touched(
    harness: Harness, contact: str, state: BenchState, kind: TouchKind, words: str, face: Face | None
) -> None:
    touch = Access(harness).touch(contact, state)
    assert (touch.kind, touch.words, touch.face) == (kind, words, face)
    assert touch.contact == contact
    assert touch_words(harness, contact, state) == words


def test_a_probe_tip_is_never_told_to_go_into_a_socket(harness: Harness) -> None:
    for state in (ALL_OPEN, PLUGGED, BenchState(breakout=frozenset({"P1", "P3"}))):
        for connector in harness.connectors.values():
            if connector.gender is Gender.SOCKET:
                for pin in connector.contacts:
                    touch = Access(harness).touch(f"{connector.ref}-{pin}", state)
                    assert "probe" not in touch.words.replace("never a probe tip", "")
                    assert touch.kind is not TouchKind.SOCKET or "test pin" in touch.short


def test_a_size_of_its_own_and_labels_of_a_breakout_lead(harness: Harness) -> None:
    p3 = replace(harness.connectors["P3"], contact_size="20", contact_sizes={"D": "12"})
    changed = replace(harness, connectors={**harness.connectors, "P3": p3})
    assert "test pin of size 12," in touch_words(changed, "P3-D", ALL_OPEN)
    assert "test pin of size 20," in touch_words(changed, "P3-A", ALL_OPEN)
    access = Access(harness, {"P3": {"A": "red"}})
    state = BenchState(breakout=frozenset({"P3"}))
    assert access.words("P3-A", state) == "socket red of the breakout lead at P3"
    assert access.words("P3-B", state) == "socket B of the breakout lead at P3"


def test_a_splice_is_reached_over_another_run_than_the_one_to_the_other_lead(harness: Harness) -> None:
    # SP1 joins W10 to P3-C and W11 to P2-1, half a metre each
    access = Access(harness)
    assert access.touch("SP1", ALL_OPEN, "P3-C").contact == "P2-1"
    assert access.touch("SP1", ALL_OPEN, "P2-1").contact == "P3-C"
    words = access.touch("SP1", ALL_OPEN, "P2-1").words
    assert words.startswith("SP1 is not reached without opening it: at P3-C, the nearest contact of its net")
    assert "its wire is in the reading" in words
    # behind a plugged connector is worse than an open one
    assert access.touch("SP1", BenchState(on_unit=frozenset({"P2"})), "").contact == "P3-C"
    assert access.touch("SP1", BenchState(on_unit=frozenset({"P3"})), "").contact == "P2-1"


def test_the_nearest_contact_of_a_splice_is_the_one_with_the_shortest_wire(harness: Harness) -> None:
    sp2 = replace(harness.connectors["SP1"], ref="SP2")
    runs = (
        *harness.runs,
        Run("W90", "SP1", "SP2", Role.POWER, 20, 0.1),
        Run("W91", "SP2", "P2-15", Role.POWER, 20, 0.1),
        Run("W92", "P2-15", "P2-14", Role.POWER, 20, 0.01),
    )
    access = Access(replace(harness, runs=runs, connectors={**harness.connectors, "SP2": sp2}))
    assert access.touch("SP1", ALL_OPEN).contact == "P2-15"  # over the other splice, 0.2 m
    assert access.touch("SP2", ALL_OPEN, "P2-15").contact == "P2-1"  # 0.6 m, as P3-C is; in reading order


def test_a_splice_with_one_run_must_be_opened(harness: Harness) -> None:
    runs = tuple(run for run in harness.runs if run.wire != "W11")
    touch = Access(replace(harness, runs=runs)).touch("SP1", ALL_OPEN, "P3-C")
    assert touch.kind is TouchKind.SPLICE
    assert "SP1 must be opened" in touch.words


def test_what_is_no_contact_here(harness: Harness) -> None:
    assert touch_words(harness, "P99-1", ALL_OPEN) == ""
    with pytest.raises(KeyError):
        Access(harness).touch("P99-1", ALL_OPEN)
