from __future__ import annotations

import json
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from benchcheck.bench.config import BenchConfig, config_from_mapping, config_from_toml
from benchcheck.words.errors import FaultyFiles
from benchcheck.words.meter import MeterSpec

SIMULATED = """
{"name": "simulated bench", "simulated": true,
 "can": [{"bus": "can1", "interface": "slcan", "channel": "/dev/pts/3"}],
 "serial": [{"name": "tap1", "port": "/dev/pts/4"}],
 "meter": {"resource": "ASRL/dev/pts/5::INSTR"}, "supply": {"resource": "ASRL/dev/pts/6::INSTR"},
 "hands": {"port": "/dev/pts/7"}}
"""

TOML = """\
name = "bay bench"

[[can]]
bus = "can1"
channel = "/dev/serial/by-id/adapter"
bitrate = 250000

[[serial]]
name = "tap1"
port = "COM4"

[[serial]]
name = "tap2"
port = "COM5"

[meter]
resource = "TCPIP::192.0.2.7::5025::SOCKET"
identity = "HM-31"

[meter.accuracy]
ohm_percent = 0.05
name = "bench meter"
"""


def faults(text):
    with pytest.raises(FaultyFiles) as caught:
        config_from_toml(text, "bench.toml")
    return [(fault.place.line, fault.text, fault.hint) for fault in caught.value.faults]


def test_what_the_simulated_bench_prints_is_a_bench():
    config = config_from_mapping(json.loads(SIMULATED))
    assert config.simulated
    assert config.can[0].channel == "/dev/pts/3"
    assert config.can[0].bitrate is None
    assert config.serial[0].name == "tap1"
    assert config.supply.resource == "ASRL/dev/pts/6::INSTR"
    assert config.hands.port == "/dev/pts/7"
    assert config.meter_spec == MeterSpec()


def test_a_bench_from_toml():
    config = config_from_toml(TOML, "bench.toml")
    assert [port.name for port in config.serial] == ["tap1", "tap2"]
    assert config.can[0].interface == "slcan"
    assert config.meter.spec.ohm_percent == 0.05
    assert config.meter.spec.name == "bench meter"
    assert config.meter.spec.volt_percent == MeterSpec().volt_percent
    with pytest.raises(ValidationError):
        config.name = "other"


BREAKOUTS = """\
[[breakouts]]
name = "lead A"
family = "dsub25"
gender = "pin"
ohm = 0.08
checked = 2031-05-04

[[breakouts]]
name = "lead B"
family = "circular"
gender = "socket"
ohm = 0
within_ohm = 0.01
check_days = 7
at = "P100"
sockets = { red = "A", blue = "B" }
"""


def test_breakout_leads():
    a, b = config_from_toml(BREAKOUTS, "bench.toml").leads
    assert (a.name, a.gender.value, a.ohm, a.within_ohm, a.check_days) == ("lead A", "pin", 0.08, 0.02, 30)
    assert a.checked == date(2031, 5, 4)
    assert (b.checked, b.within_ohm, b.check_days, b.at) == (None, 0.01, 7, "P100")
    assert b.sockets == {"red": "A", "blue": "B"}
    assert config_from_mapping({}).leads == ()
    in_json = {"name": "x", "family": "dsub9", "gender": "pin", "ohm": 0.1, "checked": "2031-05-04"}
    assert config_from_mapping({"breakouts": [in_json]}).leads[0].checked == date(2031, 5, 4)


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ('family = "dsub25"', 'family = "dsub24"', 3, "Did you mean 'dsub25'"),
        ('family = "dsub25"', 'family = "stud"', 3, "unknown family 'stud'"),
        ('gender = "pin"', 'gender = "male"', 4, '"pin" or "socket"'),
        ("ohm = 0.08", "ohm = -1", 5, "ohm"),
        ("ohm = 0.08\n", "", 1, "ohm is missing"),
        ("checked = 2031-05-04", 'checked = "last week"', 6, "2031-05-04"),
        ("checked = 2031-05-04", "checked = 7", 6, "2031-05-04"),
        ("check_days = 7", "check_days = 0", 14, "check_days"),
        ('blue = "B"', 'blue = "A"', 16, "contact given twice: A"),
        ('name = "lead B"', 'name = "lead A"', 1, "name given twice: lead A"),
        ('at = "P100"', 'on = "P100"', 15, "unknown key"),
        ("checked = 2031-05-04", 'sockets = { A = "26" }', 1, "a dsub25 has no contact 26"),
    ],
)
def test_faults_of_breakout_leads(old, new, line, said):
    found = faults(BREAKOUTS.replace(old, new, 1))
    assert any(said in fault[1] + fault[2] for fault in found), found
    assert found[0][0] == line


def test_an_empty_bench_and_a_manual_meter():
    assert config_from_mapping({}) == BenchConfig()
    assert config_from_mapping({"meter": {"manual": True}}).meter.manual


def test_every_fault_at_once_with_line_and_hint():
    found = faults(
        'nmae = "x"\n[[can]]\nbus = "can1"\nchanel = "/dev/a"\nbitrate = "fast"\n'
        '[[serial]]\nname = "a"\nport = "COM1"\n[[serial]]\nname = 7\nport = "COM2"\n'
    )
    by_line = {line: (text, hint) for line, text, hint in found}
    assert by_line[1] == ("unknown key 'nmae'", "Did you mean 'name'?")
    assert by_line[4] == ("unknown key 'can[1].chanel'", "Did you mean 'channel'?")
    assert "bitrate" in by_line[5][0]
    assert by_line[2][0] == "can[1].channel is missing"
    assert "serial[2].name" in by_line[10][0]
    assert len(found) == 5


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("name = \n", 1, "value"),
        ('[meter]\nresource = "x"\nmanual = true\n', 1, "either resource"),
        ("[meter]\n", 1, "either resource"),
        ("[meter]\nmanual = true\n[meter.accuracy]\nohm_percnt = 1\n", 3, "Did you mean 'ohm_percent'"),
        ("[meter]\nmanual = true\n[meter.accuracy]\nohm_percent = -1\n", 3, "at least 0"),
        ('[hands]\nport = "COM1"\n', None, "simulated"),
        ('[[serial]]\nname = "a"\nport = "COM1"\n[[serial]]\nname = "a"\nport = "COM2"\n', 1, "twice: a"),
        ('[[serial]]\nname = "a"\nport = "COM1"\n[[serial]]\nname = "b"\nport = "COM1"\n', None, "twice: COM1"),
        ('[[can]]\nbus = "can1"\nchannel = "a\\u001bb"\n', 3, "channel"),
        ("[[can]]\nbus = 'can1'\nchannel = 'x'\nbitrate = 2000000\n", 4, "bitrate"),
        ("can = 3\n", 1, "can"),
    ],
)
def test_single_faults(text, line, said):
    found = faults(text)
    assert any(said in fault[1] for fault in found)
    assert found[0][0] == line


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=60)
@given(
    st.dictionaries(
        st.sampled_from(["name", "can", "serial", "meter", "supply", "matrix", "hands", "simulated"]), _JSON
    )
)
def test_no_mapping_raises_anything_else(values):
    try:
        config_from_mapping(values)
    except FaultyFiles as error:
        assert error.faults and str(error)  # noqa: PT017, PT018 : either outcome is right


@settings(max_examples=60)
@given(st.text(max_size=60))
def test_no_text_raises_anything_else(text):
    try:
        config_from_toml(text, "bench.toml")
    except FaultyFiles as error:
        assert error.faults  # noqa: PT017 : either outcome is right


WATCHED = """
[meter]
resource = "ASRL/dev/ttyUSB0::INSTR"
lead_hours = 0.5
[supply]
resource = "ASRL/dev/ttyUSB1::INSTR"
[supply.watchdog]
arm = "%s"
feed = "SYST:WATC:FEED"
disarm = "SYST:WATC 0"
every_s = 0.5
"""


def test_the_age_of_the_lead_zero_and_the_watchdog_of_a_supply():
    config = config_from_toml(WATCHED % "SYST:WATC 3", "bench.toml")
    assert config.lead_hours == 0.5
    assert config.supply.watchdog.model_dump() == {
        "arm": "SYST:WATC 3",
        "feed": "SYST:WATC:FEED",
        "disarm": "SYST:WATC 0",
        "every_s": 0.5,
    }
    assert BenchConfig().lead_hours == 4.0


@pytest.mark.parametrize("command", ["SYST:WATC?", "", "SYST\\n:WATC", "SYST:WÄTC"])
def test_a_watchdog_command_that_can_not_be(command):
    with pytest.raises(FaultyFiles) as caught:
        config_from_toml(WATCHED % command, "bench.toml")
    assert "arm" in str(caught.value)
