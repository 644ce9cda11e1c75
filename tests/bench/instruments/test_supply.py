from __future__ import annotations

import subprocess
import sys
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import pytest
from bench_stand_ins import PtyLines, SupplyModel, until

from benchcheck.bench.instruments import supply as supplies
from benchcheck.bench.instruments.guardian import Guardian
from benchcheck.bench.instruments.scpi import Instrument
from benchcheck.bench.instruments.supply import Supply
from benchcheck.bench.instruments.watchdog import Watchdog
from benchcheck.words.errors import LinkLost, OverCurrent, SetupError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import ReadingState


@pytest.fixture
def model():
    return SupplyModel()


@pytest.fixture
def stand_in(model):
    with PtyLines(model.replies()) as made:
        yield made


def supply(stand_in) -> Supply:
    return Supply(Instrument("supply", f"ASRL{stand_in.name}::INSTR", timeout_s=0.5), MeterSpec())


def test_set_on_read_off(stand_in, model):
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 8.0)
        assert (model.volts, model.limit, model.on) == (24.0, 8.0, False)
        psu.on()
        assert model.on
        assert psu.output_on
        assert psu.volts().value == 24.0
        assert psu.amps().value == pytest.approx(0.0150528)
        assert psu.amps().unit == "A"
        psu.off()
        assert not model.on
    assert psu.identity.startswith("Harbour Instruments,PS-40")


def test_the_current_limit_is_set_before_the_volts(stand_in):
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 1.0)
    commands = stand_in.lines.commands
    assert commands.index("CURR 1.0000") < commands.index("VOLT 24.0000")


def test_closing_switches_off(stand_in, model):
    with closing(supply(stand_in)) as psu:
        psu.set(12.0, 1.0)
        psu.on()
    assert not model.on


def test_what_it_refuses_is_said(stand_in, model):
    model.refuses = "VOLT"
    with closing(supply(stand_in)) as psu, pytest.raises(SetupError, match=r"refused VOLT 99.0000: -222"):
        psu.set(99.0, 1.0)


@pytest.mark.parametrize(("volts", "amps"), [(float("nan"), 1.0), (24.0, float("inf")), (-1.0, 1.0)])
def test_nonsense_is_never_sent(stand_in, model, volts, amps):
    with closing(supply(stand_in)) as psu, pytest.raises(SetupError, match="can't be set"):
        psu.set(volts, amps)
    assert not any(command.startswith(("VOLT", "CURR")) for command in stand_in.lines.commands)


def test_an_output_that_stays_on_is_told_on_closing(stand_in, model):
    psu = supply(stand_in)
    psu.on()
    model.stuck_on = True
    with pytest.raises(SetupError, match="still ON"):
        psu.close()
    psu.close()  # and the port is closed all the same


def test_a_supply_that_is_gone_may_still_be_on(stand_in):
    psu = supply(stand_in)
    psu.on()
    stand_in.unplug()
    with pytest.raises(LinkLost, match="may still be ON"):
        psu.close()


PROGRAM = """
import sys
from benchcheck.bench.instruments.scpi import Instrument
from benchcheck.bench.instruments.supply import Supply
from benchcheck.words.meter import MeterSpec
psu = Supply(Instrument("supply", sys.argv[1], timeout_s=5.0), MeterSpec())
psu.set(24.0, 1.0)
psu.on()
raise RuntimeError("the tool dies here")
"""


def test_a_tool_that_dies_by_an_exception_leaves_the_supply_off(stand_in, model):
    ended = subprocess.run(
        [sys.executable, "-c", PROGRAM, f"ASRL{stand_in.name}::INSTR"], capture_output=True, text=True, timeout=60
    )
    assert "the tool dies here" in ended.stderr
    assert "OUTP ON" in stand_in.lines.commands
    assert not model.on


# --- in steps, with the current watched -------------------------------------------------------------------------------


def volts_sent(stand_in) -> list[float]:
    return [float(command.split()[1]) for command in stand_in.lines.commands if command.startswith("VOLT ")]


def test_in_steps_the_volts_rise_and_the_current_is_watched_at_each(stand_in, model):
    model.amps = 2.4
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        psu.on(ramp=True)
        assert model.volts == 24.0
        assert psu.switched_on.peak_a == pytest.approx(2.4)
        assert psu.switched_on.ramped
        reading = psu.amps()
    assert reading.value == pytest.approx(2.4)
    assert reading.detail["peak_a"] == pytest.approx(2.4)
    assert reading.detail["peak_of"] >= supplies.FIRST_READINGS
    rising = volts_sent(stand_in)[1:]
    assert rising == [0.0, *(24.0 * number / supplies.RAMP_STEPS for number in range(1, supplies.RAMP_STEPS + 1))]
    sent = stand_in.lines.commands[stand_in.lines.commands.index("OUTP ON") :]
    for one, other in pairwise(rising[1:]):
        between = sent[sent.index(f"VOLT {one:.4f}") : sent.index(f"VOLT {other:.4f}")]
        assert "MEAS:CURR?" in between


def test_a_short_stops_the_rise_and_the_output_is_off(stand_in, model):
    model.amps = 1000.0
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        with pytest.raises(OverCurrent, match=r"stays at its limit of 3 A, set to 4\.8 V") as caught:
            psu.on(ramp=True)
        assert not model.on
        assert caught.value.limit_a == 3.0
        assert max(volts_sent(stand_in)[1:]) == pytest.approx(24.0 / supplies.RAMP_STEPS)


def test_what_only_charges_up_is_no_short(stand_in, model):
    """At its limit for three readings, then not: capacitors at the units' inputs."""
    model.amps = 2.0
    shown = iter([3.0, 3.0, 3.0])
    drawn = model.drawn
    model.drawn = lambda: next(shown, None) or drawn()
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        psu.on()
        assert psu.switched_on.peak_a == pytest.approx(3.0)
        assert psu.amps().value == pytest.approx(2.0)


def test_a_supply_that_trips_while_it_comes_on_is_found_out(stand_in, model):
    model.amps, model.trips_above = 2.9, 2.8
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        with pytest.raises(OverCurrent, match="has switched itself off; its limit is 3 A"):
            psu.on()


def test_a_supply_that_trips_later_is_over_and_says_so(stand_in, model):
    model.amps = 1.0
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        assert psu.cut_off() == ""
        psu.on()
        assert psu.cut_off() == ""
        model.amps, model.trips_above = 2.9, 2.8
        reading = psu.amps()
        assert (reading.state, reading.over_above) == (ReadingState.OVER, 3.0)
        assert "switched itself off" in reading.detail["why"]


def test_a_supply_that_holds_back_says_so(stand_in, model):
    model.amps = 1.0
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        psu.on()
        model.amps = 30.0
        assert "limit of 3 A" in psu.cut_off()
        assert psu.amps().state is ReadingState.OVER


def test_a_current_that_goes_on_moving_is_a_mean_with_its_reach(stand_in, model):
    model.amps = 1.0
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        psu.on()
        shown = [1.0, 2.0]
        model.drawn = lambda: shown.append(shown.pop(0)) or shown[-1]
        reading = psu.amps()
    assert reading.detail["moving"] is True
    assert reading.value == pytest.approx(1.5)
    assert reading.uncertainty > 0.5


def test_what_it_is_set_to_is_read_back(stand_in, model):
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        assert psu.read_back
        stand_in.lines.replies = Wrong(model)
        with pytest.raises(SetupError, match=r"was set to 24 V and says '5"):
            psu.set(24.0, 3.0)
        stand_in.lines.replies = model.replies()


class Wrong(type(SupplyModel().replies())):
    """Takes the volts and keeps five."""

    def get(self, command, default=None):
        answer = super().get(command, default)
        if command.startswith("VOLT "):
            self.model.volts = 5.0
        return answer


def test_a_supply_that_does_not_say_what_it_is_set_to_is_asked_once(stand_in, model):
    model.says_set = False
    with closing(supply(stand_in)) as psu:
        psu.set(24.0, 3.0)
        psu.set(12.0, 1.0)
        assert not psu.read_back
        psu.on()
    asked = [command for command in stand_in.lines.commands if command.startswith(("VOLT?", "CURR?"))]
    assert len(asked) == 1
    assert model.queue == []


# --- whatever becomes of the tool -------------------------------------------------------------------------------------

KILLED = """
import sys, threading
from benchcheck.bench.instruments.guardian import Guardian
from benchcheck.bench.instruments.scpi import Instrument
from benchcheck.bench.instruments.supply import Supply
from benchcheck.words.meter import MeterSpec
it = Instrument("supply", sys.argv[1], timeout_s=5.0)
psu = Supply(it, MeterSpec(), guardian=Guardian(sys.argv[1], identity=it.identity, baud=9600))
psu.set(24.0, 1.0)
psu.on()
print(psu._guardian.pid, flush=True)
threading.Event().wait()
"""


def test_a_tool_that_is_killed_outright_leaves_the_supply_off(stand_in, model):
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, f"ASRL{stand_in.name}::INSTR"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as tool:
        guardian = int(tool.stdout.readline())
        assert model.on
        tool.kill()  # no Python of its own runs after this
        said = tool.stderr.read()  # until the second process, which has the same stderr, ends as well
    assert not model.on
    assert "the tool died; the supply was switched off" in said
    assert stand_in.lines.commands[-3:].count("OUTP OFF") == 1
    assert not Path(f"/proc/{guardian}/cmdline").exists() or not Path(f"/proc/{guardian}/cmdline").read_bytes()


def test_the_second_process_holds_no_port_and_goes_quietly(stand_in, model, capfd):
    resource = f"ASRL{stand_in.name}::INSTR"
    guarded = Instrument("supply", resource, timeout_s=0.5)
    guardian = Guardian(resource, identity=guarded.identity, baud=9600)
    psu = Supply(guarded, MeterSpec(), guardian=guardian)
    psu.set(24.0, 1.0)
    psu.on()
    held = [str(entry.readlink()) for entry in Path(f"/proc/{guardian.pid}/fd").iterdir()]
    assert stand_in.name not in held
    psu.close()
    assert guardian.pid is None
    assert stand_in.lines.commands.count("OUTP OFF") == 1
    assert "switched off" not in capfd.readouterr().err


def test_an_output_that_was_not_seen_to_go_off_is_tried_by_the_second_process(stand_in, model, capfd):
    resource = f"ASRL{stand_in.name}::INSTR"
    guarded = Instrument("supply", resource, timeout_s=0.2)
    psu = Supply(guarded, MeterSpec(), guardian=Guardian(resource, identity=guarded.identity, baud=9600))
    psu.set(24.0, 1.0)
    psu.on()
    guarded._lost = "hangs"  # as after a call that never came back
    with pytest.raises(LinkLost, match="may still be ON"):
        psu.close()
    assert not model.on
    assert "the supply was switched off" in capfd.readouterr().err


def test_a_supply_with_a_watchdog_is_fed_while_its_output_is_on(stand_in):
    it = Instrument("supply", f"ASRL{stand_in.name}::INSTR", timeout_s=0.5)
    watchdog = Watchdog(it, arm="SYST:WATC 3", feed="SYST:WATC:FEED", disarm="SYST:WATC 0", every_s=0.005)
    psu = Supply(it, MeterSpec(), watchdog=watchdog)
    psu.set(24.0, 1.0)
    assert "SYST:WATC 3" not in stand_in.lines.commands
    psu.on()
    until(lambda: stand_in.lines.commands.count("SYST:WATC:FEED") >= 3)
    assert psu.amps().value == pytest.approx(0.0150528)  # and its questions are answered meanwhile
    psu.off()
    until(lambda: stand_in.lines.commands[-1] == "SYST:WATC 0")
    psu.close()
    sent = stand_in.lines.commands
    assert sent.index("SYST:WATC 3") < sent.index("OUTP ON")


def test_a_watchdog_that_is_refused_keeps_the_output_off(stand_in, model):
    model.refuses = "SYST:WATC"
    it = Instrument("supply", f"ASRL{stand_in.name}::INSTR", timeout_s=0.5)
    watchdog = Watchdog(it, arm="SYST:WATC 3", feed="SYST:WATC:FEED", disarm="SYST:WATC 0", every_s=0.005)
    with closing(Supply(it, MeterSpec(), watchdog=watchdog)) as psu:
        psu.set(24.0, 1.0)
        with pytest.raises(SetupError, match="its watchdog does not start, -222"):
            psu.on()
    assert "OUTP ON" not in stand_in.lines.commands
