from __future__ import annotations

import math
import time
from contextlib import closing
from pathlib import Path

import pytest
from bench_stand_ins import IDN, Pty, PtyLines, TcpLines, meter_replies
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.instruments.meter import ScpiMeter
from benchcheck.bench.instruments.scpi import Instrument
from benchcheck.bench.port import open_port
from benchcheck.profile.load import load_profile
from benchcheck.simulator.instruments import Meter
from benchcheck.simulator.model import BenchModel
from benchcheck.words.errors import LinkLost, SetupError
from benchcheck.words.meter import MeterRange, MeterSpec
from benchcheck.words.reading import ReadingState

STARTER = Path(__file__).parents[3] / "profiles" / "starter"
SHORT_S = 0.1  # a time-out for stand-ins that stay silent on purpose


def instrument(stand_in, **options):
    resource = (
        f"ASRL{stand_in.name}::INSTR" if isinstance(stand_in, Pty) else f"TCPIP::127.0.0.1::{stand_in.port}::SOCKET"
    )
    return Instrument("meter", resource, **options)


def meter(stand_in, **options):
    return ScpiMeter(instrument(stand_in, **options), MeterSpec())


@pytest.fixture(params=[PtyLines, TcpLines])
def stand_in(request):
    with request.param(meter_replies()) as made:
        yield made


def test_ohms_come_as_shown_and_with_their_uncertainty(stand_in):
    with closing(meter(stand_in)) as dmm:
        reading = dmm.ohms()
    assert reading.state is ReadingState.VALUE
    assert reading.value == pytest.approx(1.5)  # the leads are in it: whoever holds their zero takes them off
    assert reading.uncertainty == pytest.approx(1.5 * 0.009 + 0.2 + 0.1)
    assert reading.detail["wires"] == 2
    assert reading.instrument == IDN.decode().strip()
    assert reading.detail["range_ohm"] == 40e6
    assert reading.detail["test_volts"] == 0.6


def test_volts(stand_in):
    with closing(meter(stand_in)) as dmm:
        reading = dmm.volts()
    assert (reading.unit, reading.value) == ("V", 24.02)
    assert reading.uncertainty == pytest.approx(24.02 * 0.005 + 0.02)


def test_overload_is_open_when_the_error_queue_is_clean(stand_in):
    stand_in.lines.replies["MEAS:RES?"] = b"+9.90000000E+37\n"
    with closing(meter(stand_in)) as dmm:
        reading = dmm.ohms()
    assert reading.state is ReadingState.OVER
    assert reading.over_above == 40e6
    assert stand_in.lines.commands[-2:] == ["MEAS:RES?", "SYST:ERR?"]


# a published guide: a microhmmeter returns +9.90E+37 for a rejected query, not only for open circuit
def test_overload_of_a_refused_query_is_no_reading(stand_in):
    queue = [b'-230,"Data corrupt or stale"\n', b'-113,"Undefined header"\n']
    stand_in.lines.replies |= {
        "MEAS:RES?": b"+9.90E+37\n",
        "SYST:ERR?": lambda _: queue.pop(0) if queue else b'0,"No error"\n',
    }
    with closing(meter(stand_in)) as dmm:
        refused, clean = dmm.ohms(), dmm.ohms()
    assert refused.state is ReadingState.NONE
    assert "-230" in refused.detail["why"]
    assert "-113" in refused.detail["why"]
    assert clean.state is ReadingState.OVER


def test_overload_without_an_answer_from_the_error_queue_is_no_reading(stand_in):
    stand_in.lines.replies |= {"MEAS:RES?": b"9.9E37\n", "SYST:ERR?": None}
    with closing(meter(stand_in, timeout_s=SHORT_S)) as dmm:
        assert dmm.ohms().state is ReadingState.NONE


@pytest.mark.parametrize(
    "answer", [b"9.91E37\n", b"NAN\n", b"-9.9E37\n", b"\n", b"1,2\n", b"\x1b[31m1.0\n", b"\xff\xfe\n"]
)
def test_what_is_no_number_is_no_reading_and_says_why(answer):
    with PtyLines(meter_replies(ohms=answer)) as stand_in, closing(meter(stand_in)) as dmm:
        reading = dmm.ohms()
    assert reading.state is ReadingState.NONE
    assert math.isnan(reading.value)
    assert str(reading.detail["why"]).isprintable()


def test_ohms_far_below_zero_mean_voltage_on_the_circuit():
    with PtyLines(meter_replies(ohms=b"-5.0\n")) as stand_in, closing(meter(stand_in)) as dmm:
        reading = dmm.ohms()
    assert reading.state is ReadingState.NONE
    assert "voltage" in reading.detail["why"]


def test_silence_is_no_reading_and_a_late_answer_is_never_the_next_ones(stand_in):
    late: list[bytes] = []

    def silent(_):
        late.append(b"777.0\n")

    def identity(_):
        # what came too late for its own question arrives just before the answer to this one
        return b"".join(late.pop() for _ in range(len(late))) + IDN

    stand_in.lines.replies |= {"MEAS:RES?": silent, "*IDN?": identity}
    with closing(meter(stand_in, timeout_s=SHORT_S)) as dmm:
        missed = dmm.ohms()
        after = dmm.volts()
    assert missed.state is ReadingState.NONE
    assert "no answer" in missed.detail["why"]
    assert after.value == 24.02


def test_an_answer_in_halves_is_one_answer(stand_in):
    stand_in.lines.replies["MEAS:VOLT:DC?"] = b"24."

    def rest(_):
        return b"02\n"

    stand_in.lines.replies["SYST:ERR?"] = rest
    with closing(instrument(stand_in, timeout_s=SHORT_S)) as opened:
        opened.write("MEAS:VOLT:DC?")
        opened.write("SYST:ERR?")
        assert opened._read_line(1.0) == "24.02"


def test_what_came_unasked_is_not_the_answer(stand_in):
    stand_in.lines.replies["MEAS:VOLT:DC?"] = b"24.02\n99.9\n"
    with closing(meter(stand_in)) as dmm:
        assert dmm.volts().value == 24.02
        assert dmm.ohms().value == pytest.approx(1.5)


def test_a_babbling_instrument_is_given_up():
    with PtyLines(meter_replies(volts=b"1" * 5000)) as stand_in, closing(meter(stand_in, timeout_s=5.0)) as dmm:
        reading = dmm.volts()
    assert reading.state is ReadingState.NONE
    assert "line end" in reading.detail["why"]


KELVIN = MeterSpec(four_wire=True, four_wire_ranges=(MeterRange(0.1, 1e-6), MeterRange(10.0, 1e-4)), ohm_counts=5)


def test_four_wires_are_asked_for_with_their_own_range():
    with PtyLines({**meter_replies(), "MEAS:FRES?": b"+1.25000000E-02\n"}) as stand_in:
        with closing(ScpiMeter(instrument(stand_in), KELVIN)) as dmm:
            reading = dmm.kelvin_ohms()
        assert "MEAS:FRES?" in stand_in.lines.commands
    assert reading.value == 0.0125
    assert reading.uncertainty == pytest.approx(0.0125 * 0.009 + 5e-6)
    assert reading.detail["wires"] == 4


@pytest.mark.parametrize(("answer", "state"), [(b"9.9E37\n", ReadingState.OVER), (b"-0.5\n", ReadingState.NONE)])
def test_four_wires_open_or_less_than_nothing(answer, state):
    with (
        PtyLines({**meter_replies(), "MEAS:FRES?": answer}) as stand_in,
        closing(ScpiMeter(instrument(stand_in), KELVIN)) as dmm,
    ):
        reading = dmm.kelvin_ohms()
    assert reading.state is state
    assert state is ReadingState.NONE or reading.over_above == 10.0


def test_a_meter_with_two_wires_gives_no_four_wire_reading():
    with PtyLines(meter_replies()) as stand_in, closing(meter(stand_in)) as dmm:
        reading = dmm.kelvin_ohms()
        assert "MEAS:FRES?" not in stand_in.lines.commands
    assert reading.state is ReadingState.NONE
    assert "four wires" in reading.detail["why"]


def test_unplugging_is_link_lost_and_closing_after_it_is_quiet(stand_in):
    with closing(meter(stand_in)) as dmm:
        dmm.ohms()
        stand_in.unplug() if isinstance(stand_in, Pty) else stand_in.hang_up()
        with pytest.raises(LinkLost):
            dmm.ohms()
        with pytest.raises(LinkLost):
            dmm.volts()


def test_a_port_that_is_not_there():
    with pytest.raises(SetupError, match="is not there") as caught:
        Instrument("meter", "ASRL/dev/no-such-port::INSTR")
    assert "meter" in caught.value.where or "no-such-port" in caught.value.where
    assert caught.value.hint


def test_an_address_where_nobody_listens():
    with TcpLines({}) as gone:
        port = gone.port
    with pytest.raises(SetupError):
        Instrument("meter", f"TCPIP::127.0.0.1::{port}::SOCKET", timeout_s=SHORT_S)


@pytest.mark.parametrize(
    "resource",
    [
        "?*::INSTR",
        "nonsense",
        "TCPIP::host::notaport::SOCKET",
        "TCPIP::127.0.0.1::99999::SOCKET",
        "TCPIP::no_such.invalid::5025::SOCKET",
    ],
)
def test_a_resource_that_is_no_explicit_name(resource):
    with pytest.raises(SetupError):
        Instrument("meter", resource)


def test_a_port_that_somebody_has():
    with PtyLines(meter_replies()) as stand_in:
        with closing(open_port(stand_in.name)), pytest.raises(SetupError, match="in use"):
            instrument(stand_in)
        with closing(instrument(stand_in)), pytest.raises(SetupError, match="in use"):
            open_port(stand_in.name)


def test_nobody_answers(stand_in):
    stand_in.lines.replies["*IDN?"] = None
    with pytest.raises(SetupError, match="does not answer"):
        instrument(stand_in, timeout_s=SHORT_S)


def test_something_else_answers(stand_in):
    stand_in.lines.replies["*IDN?"] = b"$GPGLL,4916.45,N\n" if isinstance(stand_in, TcpLines) else b"what?\n"
    if isinstance(stand_in, PtyLines):
        with pytest.raises(SetupError, match="no meter"):
            instrument(stand_in)
    stand_in.lines.replies["*IDN?"] = IDN
    with pytest.raises(SetupError, match="another instrument"):
        instrument(stand_in, expect="HM-99")


def test_the_expected_instrument_answers(stand_in):
    with closing(instrument(stand_in, expect="hm-31")) as opened:
        assert opened.identity == IDN.decode().strip()


def test_the_deadline_is_kept_against_a_trickle():
    """One byte now and then restarts the library's time-out each time; ours runs on."""
    with Pty() as pty:
        pty.on_bytes = lambda data: pty.say(IDN) if b"*IDN?" in data else None
        with closing(instrument(pty, timeout_s=0.3)) as opened:
            began = time.monotonic()
            pty.on_bytes = lambda data: pty.say(b"1" * 10)
            with pytest.raises(Exception, match=r"only '1111111111'"):
                opened.query("MEAS:RES?")
            assert time.monotonic() - began >= 0.3


def test_hostile_replies_never_escape_and_never_answer_the_next_question():
    hostile = b""
    with PtyLines(meter_replies(volts=b"24.02\n")) as stand_in, closing(meter(stand_in)) as dmm:
        stand_in.lines.replies["MEAS:RES?"] = lambda _: hostile + b"\n"

        @settings(max_examples=100, deadline=None)
        @given(
            st.binary(max_size=60)
            | st.from_regex(rb"[+-]?[0-9]{0,3}[.,][0-9]{0,9}[eE]?[+-]?[0-9]{0,3}", fullmatch=True)
        )
        def ask(data):
            nonlocal hostile
            hostile = data
            reading = dmm.ohms()
            assert reading.state in ReadingState
            assert math.isnan(reading.value) == (reading.state is not ReadingState.VALUE)
            assert str(reading.detail.get("why", "")).isprintable()
            assert dmm.volts().value == 24.02

        ask()


# --- its own null, range and function ---------------------------------------------------------------------------------


def simulated_meter(stand_in):
    """The simulated meter, with exact values, behind a pseudo-terminal."""
    model = BenchModel(load_profile(STARTER), seed=0)
    made = Meter(model)
    made.probes = ("GND1", "GND1")
    stand_in.on_bytes = lambda data: stand_in.say(made.feed(data)) if data else None
    return made


def test_a_null_that_is_on_is_switched_off_and_said():
    with Pty() as pty:
        simulated = simulated_meter(pty)
        simulated.set_null()
        simulated.auto["RES"] = False
        with closing(meter(pty)) as dmm:
            assert dmm.ohms().value == pytest.approx(0.0)  # taken off by the meter itself
            assert dmm.settings == "not read back"
            said = dmm.read_back()
            assert said == "null was on for RES and was switched off, range auto, function read back"
            assert simulated.auto["RES"]
            assert dmm.ohms().value == pytest.approx(0.2)
            assert dmm.read_back().startswith("null off, range auto")


def test_a_null_that_stays_on_is_refused():
    with Pty() as pty:
        simulated = simulated_meter(pty)
        simulated.set_null()
        simulated._handlers["SENS:RES:NULL"] = lambda _: None
        with (
            closing(meter(pty)) as dmm,
            pytest.raises(SetupError, match=r"its own null .* is on for RES, and stays on"),
        ):
            dmm.read_back()


def test_a_range_that_stays_fixed_is_said():
    with Pty() as pty:
        simulated = simulated_meter(pty)
        simulated.auto["VOLT:DC"] = False
        simulated._handlers["SENS:VOLT:DC:RANG:AUTO"] = lambda _: None
        with closing(meter(pty)) as dmm:
            assert "range fixed for VOLT:DC" in dmm.read_back()


def test_what_a_meter_refuses_to_say_is_not_read_back_and_does_no_harm(stand_in):
    with closing(meter(stand_in)) as dmm:
        assert dmm.read_back() == "null not read back, range not read back, function not read back"
        assert dmm.ohms().value == pytest.approx(1.5)


@pytest.mark.parametrize("answer", [None, b"\x1b[2J;;\n", b"7\n", b";\n", b"1\n", b"nonsense;" + IDN])
def test_a_meter_that_answers_nonsense_when_asked_for_its_null_is_not_read_back(answer):
    with PtyLines(meter_replies()) as stand_in:
        stand_in.lines.replies["SENS:RES:NULL?;*IDN?"] = answer if answer is not None else lambda _: None
        with closing(meter(stand_in, timeout_s=SHORT_S)) as dmm:
            assert "null not read back" in dmm.read_back()
            assert dmm.volts().value == 24.02


def test_a_meter_that_reads_another_function_gives_no_reading():
    with PtyLines(meter_replies()) as stand_in:
        stand_in.lines.replies["SENS:FUNC?;*IDN?"] = b'"VOLT";' + IDN
        with closing(meter(stand_in)) as dmm:
            dmm.read_back()
            assert dmm.volts().value == 24.02
            reading = dmm.ohms()
            assert reading.state is ReadingState.NONE
            assert "says that it read VOLT" in reading.detail["why"]
            stand_in.lines.replies["SENS:FUNC?;*IDN?"] = b'"RES";' + IDN
            assert dmm.ohms().value == pytest.approx(1.5)
