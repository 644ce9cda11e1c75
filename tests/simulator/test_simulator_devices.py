"""The devices by themselves: SCPI, the CAN adapter's protocol, the hands; fed bytes, no port opened."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_benches import ALL_IN, chain

from benchcheck.simulator.can_adapter import CanAdapter
from benchcheck.simulator.hands import Hands, parse_state
from benchcheck.simulator.instruments import BenchSupply, Meter
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.traffic import SentFrame
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import InputError


class Bench:
    """All devices on one model, with a clock that is set by hand."""

    def __init__(self) -> None:
        self.now = 5.0
        self.model = BenchModel(chain(), seed=0)
        self.meter = Meter(self.model)
        self.supply = BenchSupply(self.model, lambda: self.now)
        self.tapped: list[str] = []
        self.hands = Hands(self.model, self.meter, ("tap1",), lambda: self.now, self.tapped.append)


# --- meter and supply -------------------------------------------------------------------------------------------


def test_identity_has_four_fields() -> None:
    bench = Bench()
    assert bench.meter.feed(b"*IDN?\n").count(b",") == 3  # IEEE 488.2: maker, model, serial, firmware (from memory)
    assert bench.supply.feed(b"*idn?\n").startswith(b"BENCHCHECK-SIM,SUPPLY,")


def test_meter_reads_between_the_probes() -> None:
    bench = Bench()
    # SCPI: +INF, an open circuit in ohms, is 9.9E37 (help pages of several instruments)
    assert bench.meter.feed(b"MEAS:RES?\n") == b"+9.90000000E+37\n"
    assert bench.hands.feed(b"probes P9-1 P9-2\n") == b"ok\n"
    assert float(bench.meter.feed(b"MEAS:RES?\n")) == pytest.approx(120.2)
    assert float(bench.meter.feed(b":MEASure:RESistance?\r\n")) == pytest.approx(120.2)
    assert bench.meter.feed(b"MEAS:VOLT:DC?\n") == b"+0.00000000E+00\n"
    bench.hands.feed(b"probes P9-1 GND1\n")
    assert bench.meter.feed(b"MEAS:RES?\n") == b"+9.90000000E+37\n"


def test_probes_of_a_contact_that_got_covered_read_as_lifted() -> None:
    bench = Bench()
    bench.hands.feed(b"probes P1-1 CB1-2\n")
    assert float(bench.meter.feed(b"MEAS:RES?\n")) < 1
    bench.hands.feed(b'state {"on_unit": ["P1"]}\n')
    assert bench.meter.feed(b"MEAS:RES?\n") == b"+9.90000000E+37\n"


def test_errors_are_queued_and_read_one_by_one() -> None:
    bench = Bench()
    assert bench.meter.feed(b"FROB:NICATE 3\nMEAS:XYZ?\n") == b""
    assert bench.meter.feed(b"SYST:ERR?\n") == b'-113,"Undefined header"\n'
    assert bench.meter.feed(b"SYSTem:ERRor:NEXT?\n") == b'-113,"Undefined header"\n'
    assert bench.meter.feed(b"SYST:ERR?\n") == b'+0,"No error"\n'
    bench.meter.feed(b"FROB\n*CLS\n")
    assert bench.meter.feed(b"SYST:ERR?\n") == b'+0,"No error"\n'
    bench.meter.feed(b"FROB\n" * 30)
    errors = [bench.meter.feed(b"SYST:ERR?\n") for _ in range(20)]
    assert errors[-1] == b'-350,"Queue overflow"\n'


def test_supply_sets_and_measures() -> None:
    bench = Bench()
    bench.hands.feed(b"state " + json.dumps(ALL_IN.to_json()).encode() + b"\n")
    assert bench.supply.feed(b"VOLT 24;CURR 5.0;OUTP ON\n") == b""
    assert bench.supply.feed(b"OUTP?;VOLT?\n") == b"1;+2.40000000E+01\n"
    assert float(bench.supply.feed(b"MEAS:VOLT?\n")) == pytest.approx(24.0, abs=0.05)
    assert float(bench.supply.feed(b"MEAS:CURR?\n")) == pytest.approx(1.5, abs=0.05)
    assert set(bench.model.powered_units().values()) == {5.0}
    bench.supply.feed(b"OUTPut OFF\n")
    assert bench.supply.feed(b"OUTP?\n") == b"0\n"
    assert float(bench.supply.feed(b"MEAS:VOLT?\n")) == 0.0
    bench.supply.feed(b"OUTP ON\n*RST\n")
    assert bench.supply.feed(b"OUTP?\n") == b"0\n"


@pytest.mark.parametrize(
    ("command", "number"),
    [(b"VOLT 400", b"-222"), (b"VOLT", b"-109"), (b"VOLT x", b"-102"), (b"OUTP MAYBE", b"-102"), (b"OUTP", b"-109")],
)
def test_supply_refuses(command: bytes, number: bytes) -> None:
    bench = Bench()
    bench.supply.feed(command + b"\n")
    assert bench.supply.feed(b"SYST:ERR?\n").startswith(number)
    assert bench.supply.feed(b"VOLT?;OUTP?\n") == b"+0.00000000E+00;0\n"


# --- hands ------------------------------------------------------------------------------------------------------


def test_hands_answer_one_line_each() -> None:
    bench = Bench()
    answers = bench.hands.feed(
        b"probes P1-1 P1-99\nload P1-1 P1-2 1.0\nload off\nfrob\ntap tap9 P1-1 P1-2\ntap tap1 P2-8 P2-2\n"
    )
    lines = answers.decode().splitlines()
    assert [line.split()[0] for line in lines] == ["error", "ok", "ok", "error", "error", "ok"]
    assert "P1-99" in lines[0]
    assert bench.tapped == ["tap1"]
    assert bench.model.taps["tap1"].contact == "P2-8"


def test_state_travels_as_the_bench_states_own_json() -> None:
    state = BenchState(frozenset({"P1"}), frozenset({"P1"}), frozenset({"W21@GND1"}), frozenset({"CB1"}), True)
    read = parse_state(json.dumps(state.to_json()))
    assert (read.on_unit, read.breakout, read.lifted, read.opened) == (
        state.on_unit,
        state.breakout,
        state.lifted,
        state.opened,
    )
    assert not read.supply_on  # the supply's own commands say


@pytest.mark.parametrize("text", ["", "[]", "{", '{"on": []}', '{"on_unit": 3}', '{"on_unit": [3]}'])
def test_bad_states_are_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_state(text)


# --- CAN adapter --------------------------------------------------------------------------------------------------

FRAMES = [SentFrame(1.234, 0x123, False, b"\xde\xad"), SentFrame(1.3, 0x18FEF100, True, b"\xff" * 8)]


def test_adapter_opens_listens_and_closes() -> None:
    closed: list[bool] = []
    adapter = CanAdapter(on_close=lambda: closed.append(True))
    assert adapter.feed(b"O\r") == b"\a"  # no bit rate yet
    assert adapter.feed(b"C\rS5\r\rL\r") == b"\r\r\r\r"
    assert (adapter.bitrate, adapter.is_open, adapter.acknowledges) == (250_000, True, False)
    assert adapter.lines(FRAMES) == [b"t1232DEAD\r", b"T18FEF1008FFFFFFFFFFFFFFFF\r"]
    assert adapter.feed(b"S6\r") == b"\a"
    assert adapter.feed(b"t1230\r") == b"\a"  # listening only: it does not send
    assert adapter.feed(b"C\rO\r") == b"\r\r"
    assert adapter.acknowledges
    assert adapter.feed(b"t1232DEAD\rT18FEF1000\rr1234\rR000000010\r") == b"\r" * 4
    assert adapter.sent == 4
    assert adapter.feed(b"O\r") == b"\a"  # is open
    assert len(closed) == 2


@pytest.mark.parametrize(
    "command", [b"X", b"S", b"SA", b"t12", b"t8000", b"t1239", b"t1232DE", b"T200000000", b"szz", b"V1", b"Z1", b"Lx"]
)
def test_adapter_refuses(command: bytes) -> None:
    adapter = CanAdapter()
    adapter.feed(b"S5\rO\r")
    assert adapter.feed(command + b"\r") == b"\a"


def test_adapter_tells_version_serial_and_dropped_frames() -> None:
    adapter = CanAdapter()
    assert adapter.feed(b"V\rN\rF\r") == b"V1010\rNBCS1\rF00\r"
    adapter.drop()
    assert adapter.feed(b"F\rF\r") == b"F08\rF00\r"
    assert adapter.dropped == 1


def test_adapter_bit_rate_by_registers_and_stamps() -> None:
    adapter = CanAdapter()
    # 011C is 250 kbit/s for an 8 MHz quantum clock: 8 MHz / 2 / (1 + 13 + 2) (bit-timing arithmetic)
    assert adapter.feed(b"s011C\rZ1\rL\r") == b"\r\r\r"
    assert adapter.bitrate == 250_000
    assert adapter.lines(FRAMES[:1]) == [b"t1232DEAD04D2\r"]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.binary(max_size=80), max_size=8))
def test_no_bytes_upset_a_device(chunks: list[bytes]) -> None:
    bench = Bench()
    adapter = CanAdapter()
    for chunk in chunks:
        for device in (bench.meter, bench.supply, bench.hands, adapter):
            assert isinstance(device.feed(chunk + b"\n\r"), bytes)
