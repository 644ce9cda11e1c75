from __future__ import annotations

import subprocess
import sys
from contextlib import closing

import pytest
from bench_stand_ins import PtyLines, SupplyModel

from benchcheck.bench.scpi import Instrument
from benchcheck.bench.supply import Supply
from benchcheck.words.errors import LinkLost, SetupError
from benchcheck.words.meter import MeterSpec


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
from benchcheck.bench.scpi import Instrument
from benchcheck.bench.supply import Supply
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
