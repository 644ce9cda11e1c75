from __future__ import annotations

from contextlib import ExitStack

import pytest
from bench_stand_ins import IDN, Pty, PtyLines, SupplyModel, meter_replies, until

from benchcheck.bench.bench import Bench
from benchcheck.bench.config import config_from_mapping
from benchcheck.words.errors import LinkLost, SetupError


class Table:
    """A bench table full of stand-ins."""

    def __init__(self, stack: ExitStack) -> None:
        self.supply_model = SupplyModel()
        self.meter = stack.enter_context(PtyLines(meter_replies()))
        self.supply = stack.enter_context(PtyLines(self.supply_model.replies()))
        self.can = stack.enter_context(Pty())
        self.tap = stack.enter_context(Pty())
        self.hands = stack.enter_context(PtyLines({"load off": b"ok\n"}))
        self.config = config_from_mapping(
            {
                "name": "stand-ins",
                "simulated": True,
                "can": [{"bus": "can1", "channel": self.can.name}],
                "serial": [{"name": "tap1", "port": self.tap.name}],
                "meter": {"resource": f"ASRL{self.meter.name}::INSTR"},
                "supply": {"resource": f"ASRL{self.supply.name}::INSTR"},
                "hands": {"port": self.hands.name},
            }
        )


@pytest.fixture
def table():
    with ExitStack() as stack:
        yield Table(stack)


def test_the_whole_bench(table):
    with Bench(table.config) as bench:
        assert bench.meter.volts().value == 24.02
        assert bench.meter is bench.meter
        bench.supply.on()
        bench.hands.unload()
        adapter = bench.can("can1", 250000)
        table.can.say(b"t1230\r")
        until(lambda: adapter.counts.frames == 1)
        listener = bench.line("tap1", 4800)
        assert bench.line("tap1", 9600) is listener
        assert listener.baud == 9600
        assert bench.line("tap1").baud == 9600
        who = bench.identities()
    assert who["bench"] == "stand-ins (simulated)"
    assert who["meter"] == IDN.decode().strip()
    assert who["meter settings"].startswith("null not read back")  # the stand-in refuses to say
    assert who["supply"].startswith("Harbour")
    assert "250000 bit/s as configured" in who["can can1"]
    assert "9600 baud 8N1" in who["serial tap1"]
    assert not table.supply_model.on


def test_nothing_is_opened_that_was_not_asked_for(table):
    with Bench(table.config):
        pass
    assert table.meter.lines.commands == []
    assert table.can.heard == b""


def test_the_supply_is_off_after_an_error_in_the_job(table):
    with pytest.raises(ZeroDivisionError), Bench(table.config) as bench:  # noqa: PT012
        bench.supply.on()
        assert table.supply_model.on
        raise ZeroDivisionError
    assert not table.supply_model.on


def test_a_supply_that_can_not_be_switched_off_is_told_and_the_rest_is_closed(table):
    bench = Bench(table.config)
    bench.can("can1")
    bench.supply.on()
    table.supply.unplug()
    with pytest.raises(LinkLost, match="may still be ON"):
        bench.close()
    bench.close()


def test_acknowledging_is_asked_for_in_so_many_words(table):
    with Bench(table.config) as bench:
        assert "unproved" in bench.passive()["can1"]
        silent = bench.can("can1", 250000)
        assert bench.can("can1", 250000) is silent
        assert "acknowledged by this bench" in bench.can("can1", 250000, acknowledge=True).passive.sentence
        assert "acknowledged by this bench" in bench.passive()["can1"]


def test_what_is_not_on_the_bench_is_said():
    with Bench(config_from_mapping({"meter": {"manual": True}, "can": [{"bus": "can1", "channel": "x"}]})) as bench:
        assert bench.hands is None
        assert not bench.has_meter
        with pytest.raises(SetupError, match="no meter"):
            _ = bench.meter
        with pytest.raises(SetupError, match="no supply"):
            _ = bench.supply
        with pytest.raises(SetupError, match="no CAN adapter for can7") as caught:
            bench.can("can7")
        assert "can1" in caught.value.hint
        with pytest.raises(SetupError, match="no serial port 'tap9'"):
            bench.line("tap9")
        assert bench.identities()["meter"] == "readings typed in"


def test_an_instrument_that_is_not_there_leaves_nothing_open(table):
    table.meter.lines.replies["*IDN?"] = b"what?\n"
    with Bench(table.config) as bench:
        with pytest.raises(SetupError, match="no meter"):
            _ = bench.meter
        table.meter.lines.replies["*IDN?"] = IDN
        assert bench.meter.volts().value == 24.02
