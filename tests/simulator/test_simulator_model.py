"""What the meter and the supply show on the simulated bench, faultless and with each kind of fault."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from small_benches import ALL_IN, chain, connector, harness, run, stud, talker, unit_type

from benchcheck.harness.model import Feed, Harness, Part, PartKind, PathKind, Role, Run, RunState, Unit, UnitPath
from benchcheck.harness.wire import resistance_ohm
from benchcheck.simulator.faults import (
    BusCut,
    ConverterOff,
    CrossedTxRx,
    DeadTransmitter,
    ExtraTerminator,
    Fault,
    FeedVolts,
    HighResistance,
    MirroredNumbering,
    MissingBridge,
    MissingDrain,
    MissingTerminator,
    OpenRun,
    ProtectorOpen,
    Short,
    SwappedContacts,
    UnitCurrent,
    WrongContact,
)
from benchcheck.simulator.model import LEAD_OHM, OHM_MAX, BenchModel
from benchcheck.simulator.wiring import END_OHM
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import InputError


def exact(*faults: Fault, of: Harness | None = None) -> BenchModel:
    return BenchModel(of or chain(), faults, seed=0)


def powered(*faults: Fault, of: Harness | None = None, state: BenchState = ALL_IN, limit_a: float = 5.0) -> BenchModel:
    model = exact(*faults, of=of)
    model.set_state(state)
    model.set_supply(24.0, limit_a, True, now=10.0)
    return model


def is_open(model: BenchModel, a: str, b: str) -> bool:
    return math.isinf(model.ohms(a, b))


# --- dead, faultless ---------------------------------------------------------------------------------------


def test_a_run_reads_its_wire_its_ends_and_the_leads() -> None:
    # AC 43.13-1B table 11-9: 22 AWG 16.20 ohm per 1000 ft = 53.15 mohm/m
    metre_ohm = exact().ohms("P1-7", "P2-8") - LEAD_OHM - 2 * END_OHM
    assert metre_ohm == pytest.approx(0.05315, abs=1e-5)


def test_nothing_between_nets() -> None:
    model = exact()
    assert is_open(model, "P1-7", "P1-8")
    assert is_open(model, "P1-7", "GND1")
    assert model.true_ohms("P1-7", "P1-8") > 500e6


def test_bus_with_both_terminators_and_its_wire() -> None:
    wire_ohm = resistance_ohm(22, 2.0, 20.0) + 2 * END_OHM
    model = exact()
    # the units are out, so the chain ends at each open connector: only the near terminator is seen
    assert model.ohms("P9-1", "P9-2") == pytest.approx(120 + LEAD_OHM)
    assert model.ohms("P1-3", "P1-4") == pytest.approx(120 + 2 * wire_ohm + LEAD_OHM)
    model.set_state(ALL_IN)
    far_ohm = 120 + 2 * (3 * wire_ohm + 3 * 0.02)
    assert model.ohms("P9-1", "P9-2") == pytest.approx(120 * far_ohm / (120 + far_ohm) + LEAD_OHM)


def test_shell_ring_and_stud_are_apart_while_open() -> None:
    model = exact()
    assert is_open(model, "P1-shell", "P1-ring")
    assert is_open(model, "P1-shell", "GND1")
    assert not is_open(model, "P1-ring", "P2-9")


def test_lifted_end_is_a_lug_of_its_own() -> None:
    model = exact()
    model.set_state(BenchState(lifted=frozenset({"W21@GND1"})))
    assert is_open(model, "P1-2", "GND1")
    assert not is_open(model, "P1-2", "W21@GND1")


def test_pulled_protector() -> None:
    model = exact()
    assert model.ohms("CB1-1", "CB1-2") == pytest.approx(0.02 + LEAD_OHM)
    model.set_state(BenchState(opened=frozenset({"CB1"})))
    assert is_open(model, "CB1-1", "CB1-2")


def test_planned_run_is_not_there_yet() -> None:
    base = chain()
    later = tuple(replace(r, state=RunState.PLANNED) if r.wire == "W51" else r for r in base.runs)
    assert is_open(exact(of=replace(base, runs=later)), "P1-7", "P2-8")


def test_missing_gauge_and_length_get_middling_ones() -> None:
    base = chain()
    bare = tuple(Run("W51", "P1-7", "P2-8", Role.SIGNAL) if r.wire == "W51" else r for r in base.runs)
    ohm = exact(of=replace(base, runs=bare)).true_ohms("P1-7", "P2-8")
    assert ohm == pytest.approx(resistance_ohm(22, 3.0, 20.0) + 2 * END_OHM)


def test_meter_overload_is_at_40_megohm() -> None:
    base = chain()
    parts = (
        *base.parts,
        Part("R1", PartKind.RESISTOR, "P1-7", "P1-8", 39e6),
        Part("R2", PartKind.RESISTOR, "P3-7", "P3-8", 41e6),
    )
    model = exact(of=replace(base, parts=parts))
    assert model.ohms("P1-7", "P1-8") == pytest.approx(39e6)
    assert is_open(model, "P3-7", "P3-8")
    assert OHM_MAX == 40e6


def test_a_diode_does_not_conduct_for_the_meter_but_does_for_the_supply() -> None:
    base = chain()
    parts = (
        *base.parts,
        Part("D1", PartKind.DIODE, "CB1-2", "P9-9"),
        Part("R1", PartKind.RESISTOR, "P9-9", "GND1", 1000.0),
    )
    of = replace(base, parts=parts)
    assert is_open(exact(of=of), "CB1-2", "P9-9")
    model = powered(of=of, state=BenchState())
    assert model.volts("CB1-2", "P9-9") == pytest.approx(0.7, abs=0.01)
    reverse = replace(base, parts=(*parts[:-2], Part("D1", PartKind.DIODE, "P9-9", "CB1-2"), parts[-1]))
    assert powered(of=reverse, state=BenchState()).volts("P9-9", "GND1") == pytest.approx(0.0, abs=1e-6)


def test_a_diode_inside_a_unit_conducts_for_the_supply_while_the_unit_is_in() -> None:
    base = chain()
    unit = base.units["U3"]
    paths = (*unit.type.paths, UnitPath(PathKind.DIODE, "J1-1", "J1-9"))
    units = {**base.units, "U3": replace(unit, type=replace(unit.type, paths=paths))}
    of = replace(base, units=units, parts=(*base.parts, Part("R1", PartKind.RESISTOR, "P3-9", "GND1", 1000.0)))
    assert is_open(exact(of=of), "P3-1", "P3-9")
    assert powered(of=of).volts("P3-1", "P3-9") == pytest.approx(0.7, abs=0.01)
    assert powered(of=of, state=BenchState()).volts("P3-9", "GND1") == pytest.approx(0.0, abs=1e-6)


def test_noise_is_small_repeats_with_the_seed_and_is_off_for_seed_0() -> None:
    readings = [BenchModel(chain(), seed=7).ohms("P9-1", "P9-2") for _ in range(2)]
    assert readings[0] == readings[1]
    noisy = BenchModel(chain(), seed=7)
    values = [noisy.ohms("P9-1", "P9-2") for _ in range(50)]
    assert len(set(values)) == 50
    # within 1 % (part) + 0.2 % + 0.03 ohm of the true value
    assert all(abs(value - 120 - LEAD_OHM) < 1.5 for value in values)


# --- dead, with each fault -----------------------------------------------------------------------------------


def test_open_run() -> None:
    assert is_open(exact(OpenRun("W51")), "P1-7", "P2-8")


def test_high_resistance_is_within_the_lenient_limit_and_drops_volts_under_load() -> None:
    good, bad = exact(), exact(HighResistance("W11", 1.5))
    assert bad.ohms("P1-1", "CB1-2") - good.ohms("P1-1", "CB1-2") == pytest.approx(1.5)
    assert powered().volts("P1-1", "P1-2") - powered(HighResistance("W11", 1.5)).volts("P1-1", "P1-2") > 0.6


def test_swapped_contacts() -> None:
    model = exact(SwappedContacts(("P1-7", "P1-8")))
    assert is_open(model, "P1-7", "P2-8")
    assert not is_open(model, "P1-8", "P2-8")
    assert not is_open(model, "P1-7", "P2-7")


def test_crossed_tx_rx_moves_the_conductors_alike() -> None:
    model = exact(CrossedTxRx(("P2-7", "P2-8")))
    assert is_open(model, "P1-7", "P2-8")
    assert not is_open(model, "P1-7", "P2-7")


def test_mirrored_numbering() -> None:
    # rows 1-5 and 6-9: what belongs in 7 sits in 8, what belongs in 1 sits in 5
    model = exact(MirroredNumbering("P1"))
    assert is_open(model, "P1-7", "P2-8")
    assert not is_open(model, "P1-8", "P2-8")
    assert not is_open(model, "P1-5", "CB1-2")


def test_wrong_contact() -> None:
    model = exact(WrongContact("W51", "P2-8", "P2-9"))
    assert is_open(model, "P1-7", "P2-8")
    assert not is_open(model, "P1-7", "P2-9")


def test_short() -> None:
    assert exact(Short(("P1-7", "P1-8"), 2.0)).ohms("P1-7", "P1-8") == pytest.approx(2.0 + LEAD_OHM)


@pytest.mark.parametrize(
    ("fault", "a", "b"),
    [
        (MissingBridge("B1"), "P9-8", "P9-9"),
        (MissingDrain("S1"), "P1-ring", "P2-9"),
        (ProtectorOpen("CB1"), "CB1-1", "CB1-2"),
        (MissingTerminator("RT1"), "P9-1", "P9-2"),
    ],
)
def test_missing_things(fault: Fault, a: str, b: str) -> None:
    assert not is_open(exact(), a, b)
    assert is_open(exact(fault), a, b)


def test_terminators_one_two_three() -> None:
    # two, one and three terminators read about 60, 120 and 40 ohm: workshop texts on CAN (secondary sources)
    for faults, low, high in (
        ((), 60, 61.5),
        ((MissingTerminator("RT2"),), 120, 121),
        ((ExtraTerminator(("P2-3", "P2-4")),), 40, 41.5),
    ):
        model = exact(*faults)
        model.set_state(ALL_IN)
        assert low < model.ohms("P9-1", "P9-2") < high


def test_bus_cut_shows_one_terminator_on_each_side() -> None:
    model = exact(BusCut(("W32", "W42")))
    model.set_state(ALL_IN)
    for place in ("P9-1", "P9-2"), ("P3-3", "P3-4"):
        assert 120 < model.ohms(*place) < 121.5


def test_bridge_enables_the_terminator_inside_the_unit() -> None:
    base = chain()
    path = UnitPath(PathKind.TERMINATOR, "J1-5", "J1-6", 120.0, ("J1-8", "J1-9"))
    runs = (*(r for r in base.runs if r.wire not in ("W51", "W52")), Run("B2", "P3-8", "P3-9", Role.BRIDGE))
    parts = tuple(part for part in base.parts if part.ref != "RT2")
    of = replace(base, runs=runs, parts=parts, units={**base.units, "U3": talker("U3", (path,))}, links=())
    for faults, expected in (((), 60), ((MissingBridge("B2"),), 120)):
        model = exact(*faults, of=of)
        model.set_state(ALL_IN)
        assert model.ohms("P9-1", "P9-2") == pytest.approx(expected, abs=1.2)


# --- power -----------------------------------------------------------------------------------------------------


def test_no_unit_no_current_and_full_volts() -> None:
    model = powered(state=BenchState())
    assert model.supply_amps() == pytest.approx(0.0, abs=1e-6)
    assert model.volts("P1-1", "P1-2") == pytest.approx(24.0, abs=1e-3)
    assert model.volts("P1-2", "P1-1") == pytest.approx(-24.0, abs=1e-3)
    assert model.volts("P1-7", "P1-2") == pytest.approx(0.0, abs=1e-3)
    assert model.volts("P1-7", "P1-1") == pytest.approx(0.0, abs=0.2)  # a floating contact drags to nothing


def test_voltage_drop_over_the_runs_under_a_load() -> None:
    # handbook table 11-9 again: 1 m of 22 AWG each way twice, the protector, the crimps; 1 A at nominal volts
    model = powered(state=BenchState())
    model.load("P1-1", "P1-2", 1.0)
    path_ohm = 4 * (0.05315 + 2 * END_OHM) + 0.02 + 0.005
    assert model.volts("P1-1", "P1-2") == pytest.approx(24 * 24 / (24 + path_ohm), abs=1e-3)
    assert model.supply_amps() == pytest.approx(24 / (24 + path_ohm), rel=1e-4)
    model.load_off()
    assert model.supply_amps() == pytest.approx(0.0, abs=1e-6)


def test_units_draw_what_they_say_and_know_since_when() -> None:
    model = powered()
    assert model.supply_amps() == pytest.approx(1.5, abs=0.05)
    assert model.powered_units() == {"U1": 10.0, "U2": 10.0, "U3": 10.0}
    model.set_state(BenchState(on_unit=frozenset({"P1", "P3"})), now=12.0)
    model.set_state(ALL_IN, now=14.0)
    assert model.powered_units() == {"U1": 10.0, "U2": 14.0, "U3": 10.0}
    model.set_supply(24.0, 5.0, False, now=15.0)
    assert model.powered_units() == {}


def test_low_volts_power_no_unit() -> None:
    model = powered()
    model.set_supply(17.0, 5.0, True, now=20.0)  # 71 % of nominal
    assert model.powered_units() == {}
    model.set_supply(19.0, 5.0, True, now=21.0)
    assert len(model.powered_units()) == 3


def test_current_limit_folds_the_volts_back() -> None:
    model = powered(Short(("P1-1", "P1-2"), 0.1), limit_a=3.0, state=BenchState())
    assert model.limiting()
    assert model.supply_amps() == pytest.approx(3.0)
    assert model.supply_volts() == pytest.approx(3.0 * (0.1 + 4 * (0.05315 + 2 * END_OHM) + 0.02), rel=1e-3)


def test_unit_current() -> None:
    assert powered(UnitCurrent("U1", 3.0)).supply_amps() - powered().supply_amps() == pytest.approx(1.0, abs=0.05)


def test_ground_of_a_unit_open_means_no_power() -> None:
    assert "U1" not in powered(OpenRun("W21")).powered_units()


def test_an_ohms_reading_with_the_supply_on_means_nothing() -> None:
    model = powered(state=BenchState())
    assert not 0 < model.ohms("P1-1", "P1-2") < 10e3  # 24 V upset the test current
    quiet = [model.ohms("P9-1", "P9-2") for _ in range(10)]
    assert max(quiet) - min(quiet) > 20


def test_rs232_idle_level() -> None:
    # TIA-232-F: mark is -5 to -15 V into a receiver
    model = powered()
    assert -9.0 <= model.volts("P2-8", "P2-2") <= -5.0
    assert model.volts("P2-8", "P2-2") == pytest.approx(model.volts("P1-7", "P1-2"), abs=0.1)
    assert powered(DeadTransmitter("P1-7")).volts("P2-8", "P2-2") == pytest.approx(0.0, abs=0.05)


def test_can_levels_are_recessive_and_a_little_apart() -> None:
    # ISO 11898-2: recessive 2.0 to 3.0 V on each line (TI TCAN1044 and others' data sheets)
    model = powered()
    high, low = model.volts("P9-1", "GND1"), model.volts("P9-2", "GND1")
    assert 2.0 < low < high < 3.0
    assert 0.005 < high - low < 0.3  # three senders on a quiet bus; the meter averages
    assert powered(Short(("P9-2", "GND1"), 0.1)).volts("P9-2", "GND1") == pytest.approx(0.0, abs=0.05)


# --- converter -----------------------------------------------------------------------------------------------


def with_converter(output_v: float, load_a: float, input_v: float = 24.0) -> Harness:
    """CONV on P5 makes a feed for U on P6; every wire is short and thick."""
    contacts = {
        "1": (Role.POWER, input_v, 0.0),
        "2": (Role.GROUND, None, 0.0),
        "3": (Role.POWER, output_v, 0.0),
        "4": (Role.GROUND, None, 0.0),
    }
    path = UnitPath(PathKind.CONVERTER, "J1-1", "J1-3", efficiency=0.9)
    conv = Unit("CONV", unit_type("conv", contacts, (path,)), "", {"J1": "P5"})
    user = Unit(
        "U", unit_type("user", {"1": (Role.POWER, output_v, load_a), "2": (Role.GROUND, None, 0.0)}), "", {"J1": "P6"}
    )
    thick = {"awg": 0, "length_m": 0.1}
    return harness(
        connectors={
            "P100": connector("P100", 2, has_shell=False),
            "P5": connector("P5", 9, "CONV"),
            "P6": connector("P6", 9, "U"),
            "GND1": stud("GND1"),
        },
        runs=(
            run("W1", "P100-1", "P5-1", Role.POWER, **thick),  # type: ignore[arg-type]
            run("W2", "P100-2", "GND1", Role.GROUND, **thick),  # type: ignore[arg-type]
            run("W3", "GND1", "P5-2", Role.GROUND, **thick),  # type: ignore[arg-type]
            run("W4", "P5-3", "P6-1", Role.POWER, **thick),  # type: ignore[arg-type]
            run("W5", "P5-4", "P6-2", Role.GROUND, **thick),  # type: ignore[arg-type]
        ),
        units={"CONV": conv, "U": user},
        feeds=(
            Feed("main", input_v, 10.0, "P100-1", "P100-2", limit_a=10.0),
            Feed("made", output_v, 10.0, "P5-3", "P5-4", "CONV", limit_a=4.0),
        ),
    )


BOTH_IN = BenchState(on_unit=frozenset({"P5", "P6"}), breakout=frozenset({"P5", "P6"}))


def converter_bench(*faults: Fault, input_v: float = 24.0, output_v: float = 12.0, load_a: float = 1.0) -> BenchModel:
    model = BenchModel(with_converter(output_v, load_a, input_v), faults, seed=0)
    model.set_state(BOTH_IN)
    model.set_supply(input_v, 10.0, True)
    return model


def test_step_up_input_current() -> None:
    # Iin = Iout * Vout / (eff * Vin): 28 V 2 A at 90 % from 14 V = 4.44 A (derived in the project's check values)
    model = converter_bench(input_v=14.0, output_v=28.0, load_a=2.0)
    assert model.supply_amps() == pytest.approx(4.44, abs=0.12)  # with its idle draw, and losses in the wires
    assert model.volts("P6-1", "P6-2") == pytest.approx(28.0, abs=0.2)


def test_converter_off_and_unplugged() -> None:
    assert set(converter_bench().powered_units()) == {"CONV", "U"}
    off = converter_bench(ConverterOff("CONV"))
    assert off.volts("P6-1", "P6-2") == pytest.approx(0.0, abs=1e-3)
    assert set(off.powered_units()) == {"CONV"}
    out = converter_bench()
    out.set_state(BenchState(on_unit=frozenset({"P6"}), breakout=frozenset({"P6"})))
    assert out.volts("P6-1", "P6-2") == pytest.approx(0.0, abs=1e-3)


def test_converter_needs_70_percent_of_its_input() -> None:
    model = converter_bench()
    model.set_supply(15.0, 10.0, True)
    assert model.volts("P6-1", "P6-2") == pytest.approx(0.0, abs=1e-3)
    model.set_supply(18.0, 10.0, True)
    assert model.volts("P6-1", "P6-2") == pytest.approx(12.0, abs=0.1)


def test_feed_volts() -> None:
    assert converter_bench(FeedVolts("made", 10.2)).volts("P6-1", "P6-2") == pytest.approx(10.2, abs=0.1)


def test_overloaded_converter_gives_up() -> None:
    model = converter_bench(Short(("P6-1", "P6-2"), 0.1))
    assert model.volts("P6-1", "P6-2") == pytest.approx(0.0, abs=1e-3)
    assert model.supply_amps() < 0.1


# --- what can't be done ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("contact", ["P1-77", "P77-1", "", "P1-1; rm", "W21@GND1"])
def test_unknown_contacts_are_refused(contact: str) -> None:
    with pytest.raises(InputError):
        exact().ohms("P1-1", contact)


def test_a_mated_connector_can_not_be_probed_without_a_breakout_lead() -> None:
    model = exact()
    model.set_state(BenchState(on_unit=frozenset({"P1"})))
    with pytest.raises(InputError, match="can't be reached"):
        model.ohms("P1-1", "GND1")
    assert not is_open(model, "P2-1", "CB1-2")
    model.set_state(ALL_IN)
    assert not is_open(model, "P1-1", "CB1-2")


@pytest.mark.parametrize(
    "state",
    [
        BenchState(on_unit=frozenset({"P77"})),
        BenchState(on_unit=frozenset({"P9"})),
        BenchState(lifted=frozenset({"W21@GND7"})),
        BenchState(opened=frozenset({"RT1"})),
    ],
)
def test_impossible_states_are_refused_and_change_nothing(state: BenchState) -> None:
    model = exact()
    with pytest.raises(InputError):
        model.set_state(state)
    assert model.state == BenchState()


def test_impossible_loads_are_refused() -> None:
    with pytest.raises(InputError, match="can't be drawn"):
        exact().load("P1-1", "P1-2", 0.0)
