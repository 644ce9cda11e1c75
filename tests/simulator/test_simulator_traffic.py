"""Who is heard on the simulated CAN bus, and what; decided by the network as it was built."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from small_benches import ALL_IN, chain

from benchcheck.harness.model import Harness
from benchcheck.simulator.faults import (
    BusCut,
    Fault,
    HighResistance,
    IntermittentUnit,
    LateUnit,
    MissingTerminator,
    OpenRun,
    Short,
    SilentUnit,
    SwappedContacts,
    UnexpectedMessage,
)
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.traffic import BusTraffic, SentFrame
from benchcheck.words.bench_state import BenchState

ON_S = 100.0
BOOT_S = 0.7  # 70 % of the second that the unit type allows


def bench(*faults: Fault, plugged: BenchState = ALL_IN, of: Harness | None = None) -> BenchModel:
    model = BenchModel(of or chain(), faults, seed=3)
    model.set_state(plugged)
    model.set_supply(24.0, 5.0, True, now=ON_S)
    return model


def heard(
    model: BenchModel, first_s: float = ON_S, last_s: float = ON_S + 5, *, acknowledges: bool = True
) -> list[SentFrame]:
    bus = model.harness.buses[0]
    traffic = BusTraffic(model.harness, bus, model.faults, model.seed)
    joined = model.hearing().on_bus(bus)
    return traffic.frames(first_s, last_s, joined, model.powered_units(), acknowledges=acknowledges)


def senders(frames: list[SentFrame]) -> set[str]:
    names = {0x101: "U1", 0x102: "U2", 0x103: "U3", 0x18FF0001: "U1"}
    return {names.get(frame.can_id, "?") for frame in frames}


def test_all_units_are_heard_after_their_start_at_their_periods() -> None:
    frames = heard(bench())
    assert senders(frames) == {"U1", "U2", "U3"}
    times = [frame.at_s for frame in frames if frame.can_id == 0x101]
    assert times[0] == pytest.approx(ON_S + BOOT_S)
    gaps = [b - a for a, b in itertools.pairwise(times)]
    assert len(times) == pytest.approx(44, abs=1)
    assert all(0.095 < gap < 0.105 for gap in gaps)
    assert max(gaps) - min(gaps) > 0.0003  # and not like a metronome
    data = [frame.data for frame in frames if frame.can_id == 0x101]
    assert [entry[0] for entry in data] == list(range(len(data)))
    extended = [frame for frame in frames if frame.extended]
    assert {len(frame.data) for frame in extended} == {4}


def test_the_same_however_the_time_is_cut() -> None:
    model = bench()
    whole = heard(model)
    bus = model.harness.buses[0]
    traffic = BusTraffic(model.harness, bus, (), model.seed)
    cuts = [ON_S + step * 0.0173 for step in range(290)]
    pieces = [
        frame
        for first, last in itertools.pairwise(cuts)
        for frame in traffic.frames(first, last, model.hearing().on_bus(bus), model.powered_units(), acknowledges=True)
    ]
    assert [(f.can_id, f.data) for f in pieces] == [(f.can_id, f.data) for f in whole if f.at_s <= cuts[-1]]


def test_two_frames_never_overlap() -> None:
    frames = heard(bench())
    gaps = [b.at_s - a.at_s for a, b in itertools.pairwise(frames)]
    assert min(gaps) > 47 / 250_000  # FACTS of CAN: the shortest frame with its intermission has 47 bits


def test_nobody_without_power() -> None:
    model = bench()
    model.set_supply(24.0, 5.0, False, now=ON_S + 1)
    assert heard(model) == []


def test_cut_bus_is_silent_beyond_the_cut() -> None:
    assert senders(heard(bench(BusCut(("W31", "W41"))))) == {"U1"}
    assert senders(heard(bench(BusCut(("W32", "W42"))))) == {"U1", "U2"}


def test_one_open_wire_is_enough_and_a_poor_one_is_not() -> None:
    assert senders(heard(bench(OpenRun("W32")))) == {"U1", "U2"}
    assert senders(heard(bench(HighResistance("W32", 2.0)))) == {"U1", "U2", "U3"}


def test_swapped_pair_takes_the_unit_and_what_lies_beyond() -> None:
    assert senders(heard(bench(SwappedContacts(("P2-3", "P2-4"))))) == {"U1"}


def test_an_unplugged_unit_breaks_the_chain_through_it() -> None:
    state = replace(ALL_IN, on_unit=frozenset({"P1", "P3"}))
    assert senders(heard(bench(plugged=state))) == {"U1"}


@pytest.mark.parametrize(
    ("contacts", "expected"),
    [
        (("P2-3", "P2-4"), set()),  # CAN-H to CAN-L: lost
        (("P2-3", "GND1"), set()),  # CAN-H to ground: lost
        (("P2-4", "CB1-2"), set()),  # CAN-L to battery: lost
        (("P2-4", "GND1"), {"U1", "U2", "U3"}),  # CAN-L to ground: may go on
    ],
)
def test_shorts_of_the_bus(contacts: tuple[str, str], expected: set[str]) -> None:
    # fault tolerance text of a car maker (secondary source)
    assert senders(heard(bench(Short(contacts, 0.1)))) == expected


def test_one_terminator_still_talks_and_none_does_not() -> None:
    assert senders(heard(bench(MissingTerminator("RT1")))) == {"U1", "U2", "U3"}
    assert heard(bench(MissingTerminator("RT1"), MissingTerminator("RT2"))) == []


def test_a_lone_unit_is_heard_only_if_somebody_acknowledges() -> None:
    # a transmitter alone on the bus gets no acknowledgement (Bosch CAN 2.0 part B, note on p. 63)
    state = BenchState(on_unit=frozenset({"P1"}))
    assert heard(bench(plugged=state), acknowledges=False) == []
    assert senders(heard(bench(plugged=state), acknowledges=True)) == {"U1"}
    assert senders(heard(bench(), acknowledges=False)) == {"U1", "U2", "U3"}


def test_a_silent_unit_still_acknowledges() -> None:
    state = BenchState(on_unit=frozenset({"P1", "P2"}))
    assert senders(heard(bench(SilentUnit("U2"), plugged=state), acknowledges=False)) == {"U1"}


def test_silent_late_and_intermittent() -> None:
    assert senders(heard(bench(SilentUnit("U2")))) == {"U1", "U3"}
    late = [frame.at_s for frame in heard(bench(LateUnit("U2", 2.0))) if frame.can_id == 0x102]
    assert late[0] == pytest.approx(ON_S + BOOT_S + 2.0, abs=0.002)  # may wait for the bus
    times = [f.at_s for f in heard(bench(IntermittentUnit("U2", 1.0, 0.6))) if f.can_id == 0x102]
    gaps = [b - a for a, b in itertools.pairwise(times) if b - a > 0.2]
    assert len(gaps) == 2
    assert all(0.55 < gap < 0.85 for gap in gaps)


def test_unexpected_message() -> None:
    frames = heard(bench(UnexpectedMessage("can1", 0x7AB, 0.5)))
    times = [frame.at_s for frame in frames if frame.can_id == 0x7AB]
    assert len(times) == 9
    assert heard(bench(UnexpectedMessage("can1", 0x7AB, 0.5), plugged=BenchState())) == []
