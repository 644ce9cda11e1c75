"""The simulated bench as a process, reached through the real drivers: pyserial, python-can, PyVISA."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import pytest
import pyvisa
import serial

from benchcheck.simulator.launch import SimulatedBench, demo_faults_path, start
from benchcheck.words.errors import InputError

PTY = hasattr(os, "openpty")
TRANSPORTS = [pytest.param("pty", marks=pytest.mark.skipif(not PTY, reason="no pseudo-terminals here")), "tcp"]
PATIENCE_S = 20.0

HARNESS = """
schema = 1
title = "two units on a table"
ambient_c = 20.0
chassis = "GND1"
[[connectors]]
ref = "P1"
family = "dsub9"
gender = "socket"
unit = "A"
unit_connector = "J1"
[[connectors]]
ref = "P2"
family = "dsub9"
gender = "socket"
unit = "B"
unit_connector = "J1"
doubles = ["3", "4"]
[[connectors]]
ref = "P9"
family = "dsub9"
gender = "socket"
[[connectors]]
ref = "TB1"
family = "terminals"
rows = [["1", "2"]]
doubles = ["1", "2"]
[[connectors]]
ref = "GND1"
family = "stud"
[[units]]
ref = "A"
type = "box"
title = "box"
[[units]]
ref = "B"
type = "box"
title = "box"
[[feeds]]
name = "main"
nominal_v = 24.0
tolerance_percent = 10.0
source = "TB1-1"
ground = "TB1-2"
limit_a = 3.0
[[parts]]
ref = "RT1"
kind = "terminator"
from = "P9-3"
to = "P9-4"
ohm = 120.0
[[buses]]
name = "can1"
bitrate = 250000
nodes = ["A", "B"]
adapter_at = "P9"
network = "two.dbc"
[[links]]
name = "depth"
protocol = "text"
baud = 9600
tap = "P2"
ground = "P2-2"
[[links.talks]]
tx = "P1-5"
rx = "P2-6"
types = ["DEPTH"]
period_s = 0.1
"""

PINS = """wire,from,to,awg,length_m,role,cable,shield,colour,note
W1,P1-1,TB1-1,22,1,power,,,,
W2,P2-1,TB1-1,22,1,power,,,,
W3,P1-2,TB1-2,22,1,ground,,,,
W4,P2-2,GND1,22,1,ground,,,,
W5,TB1-2,GND1,22,1,ground,,,,
W6,P1-3,P2-3,22,1,can_h,,,,
W7,P1-4,P2-4,22,1,can_l,,,,
W8,P2-3,P9-3,22,1,can_h,,,,
W9,P2-4,P9-4,22,1,can_l,,,,
W10,P1-5,P2-6,22,1,rs232_tx,,,,
"""

BOX = """
schema = 1
title = "box"
boot_s = 0.2
[[connectors]]
name = "J1"
family = "dsub9"
gender = "pin"
""" + "".join(
    f"""[[contacts]]
connector = "J1"
contact = "{contact}"
name = "{role}"
role = "{role}"
need = "optional"
{"feed_v = 24.0" if role == "power" else ""}
{"load_a = 0.5" if role == "power" else ""}
"""
    for contact, role in (
        ("1", "power"),
        ("2", "ground"),
        ("3", "can_h"),
        ("4", "can_l"),
        ("5", "rs232_tx"),
        ("6", "rs232_rx"),
    )
)

DATABASE = """VERSION ""
NS_ :
BS_:
BU_: A B
BO_ 256 M_A: 8 A
 SG_ count : 0|8@1+ (1,0) [0|255] "" Vector__XXX
BO_ 512 M_B: 8 B
 SG_ count : 0|8@1+ (1,0) [0|255] "" Vector__XXX
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
BA_ "GenMsgCycleTime" BO_ 256 50;
BA_ "GenMsgCycleTime" BO_ 512 50;
"""


@pytest.fixture(scope="module")
def profile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("profile") / "two"
    (folder / "units").mkdir(parents=True)
    (folder / "harness.toml").write_text(HARNESS, encoding="utf-8")
    (folder / "pins.csv").write_text(PINS, encoding="utf-8")
    (folder / "two.dbc").write_text(DATABASE, encoding="utf-8")
    (folder / "units" / "box.toml").write_text(BOX, encoding="utf-8")
    return folder


class Clients:
    """The drivers, opened on a bench description."""

    def __init__(self, description: dict[str, Any]) -> None:
        self.description = description
        self.visa = pyvisa.ResourceManager("@py")
        self.hands_port = serial.serial_for_url(description["hands"]["port"], timeout=PATIENCE_S)
        self.meter = self._instrument(description["meter"]["resource"])
        self.supply = self._instrument(description["supply"]["resource"])

    def _instrument(self, resource: str) -> Any:
        return self.visa.open_resource(resource, read_termination="\n", write_termination="\n", timeout=20_000)

    def hands(self, line: str) -> str:
        self.hands_port.write(line.encode() + b"\n")
        return str(self.hands_port.readline().decode().strip())

    def power(self, *connectors: str) -> None:
        assert self.hands("state " + json.dumps({"on_unit": connectors, "breakout": connectors})) == "ok"
        for command in ("VOLT 24", "CURR 3", "OUTP ON"):
            self.supply.write(command)
        assert self.supply.query("SYST:ERR?").startswith("+0")

    def bus(self, **settings: Any) -> can.BusABC:
        port = self.description["can"][0]
        return can.Bus(interface=port["interface"], channel=port["channel"], sleep_after_open=0, **settings)

    def tap(self, baud: int) -> serial.Serial:
        return serial.serial_for_url(self.description["serial"][0]["port"], baudrate=baud, timeout=0.05)

    def put_back(self) -> None:
        """The bench as it was when it started."""
        self.supply.write("OUTP OFF")
        assert self.supply.query("OUTP?") == "0"
        for line in ("load off", "state {}"):
            assert self.hands(line) == "ok"

    def close(self) -> None:
        self.hands_port.close()
        self.meter.close()
        self.supply.close()
        self.visa.close()


@pytest.fixture(scope="module", params=TRANSPORTS)
def served(request: pytest.FixtureRequest, profile: Path) -> Iterator[SimulatedBench]:
    """One process for all that only talk to it; what is about starting and ending has its own."""
    with start(profile, transport=request.param) as simulated:
        yield simulated


@pytest.fixture
def bench(served: SimulatedBench) -> Iterator[Clients]:
    clients = Clients(served.description)
    try:
        yield clients
        clients.put_back()
    finally:
        clients.close()


over_pty = pytest.mark.parametrize("served", TRANSPORTS[:1], indirect=True)
over_tcp = pytest.mark.parametrize("served", TRANSPORTS[1:], indirect=True)


def until(read: Callable[[], Any], done: Callable[[Any], bool]) -> Any:
    """Read until it is enough, for as long as a slow machine may need."""
    deadline = time.monotonic() + PATIENCE_S
    while True:
        value = read()
        if done(value) or time.monotonic() > deadline:
            return value


def ids_heard(bus: can.BusABC, wanted: set[int]) -> set[int]:
    heard: set[int] = set()

    def read() -> set[int]:
        message = bus.recv(0.05)
        if message is not None:
            heard.add(message.arbitration_id)
        return heard

    return until(read, lambda found: wanted <= found)  # type: ignore[no-any-return]


def bytes_heard(port: serial.Serial, enough: int) -> bytes:
    heard = bytearray()

    def read() -> bytearray:
        heard.extend(port.read(64))
        return heard

    return bytes(until(read, lambda found: len(found) >= enough))


def test_description(bench: Clients) -> None:
    description = bench.description
    assert description["simulated"] is True
    assert [port["bus"] for port in description["can"]] == ["can1"]
    assert [port["name"] for port in description["serial"]] == ["tap1", "tap2"]
    assert set(description) == {"name", "simulated", "can", "serial", "meter", "supply", "hands"}


def test_meter_hands_and_supply(bench: Clients) -> None:
    assert bench.meter.query("*IDN?").startswith("BENCHCHECK-SIM,METER,")
    assert bench.hands("probes P9-3 P9-4") == "ok"
    assert float(bench.meter.query("MEAS:RES?")) == pytest.approx(120.2, abs=1.6)
    assert bench.hands("probes P9-3 GND1") == "ok"
    assert float(bench.meter.query("MEAS:RES?")) >= 9.9e37
    assert bench.hands("probes P9-3 P99-1").startswith("error no contact 'P99-1'")
    bench.power()
    assert bench.hands("probes P1-1 P1-2") == "ok"
    assert float(bench.meter.query("MEAS:VOLT:DC?")) == pytest.approx(24.0, abs=0.1)
    assert bench.hands("load P1-1 P1-2 1") == "ok"
    assert float(bench.supply.query("MEAS:CURR?")) == pytest.approx(1.0, abs=0.05)
    assert float(bench.meter.query("MEAS:VOLT:DC?")) < 23.95
    bench.meter.write("NONSENSE")
    assert bench.meter.query("SYST:ERR?").startswith("-113")


def test_can_units_are_heard_through_the_serial_line_interface(bench: Clients) -> None:
    bench.power("P1", "P2")
    bus = bench.bus(bitrate=250_000)
    try:
        assert ids_heard(bus, {0x100, 0x200}) == {0x100, 0x200}
        assert bus.get_version(PATIENCE_S) == (10, 10)  # type: ignore[attr-defined]
    finally:
        bus.shutdown()


def test_wrong_bit_rate_and_a_lone_unit_that_nobody_acknowledges(bench: Clients) -> None:
    bench.power("P2")
    wrong = bench.bus(bitrate=500_000)
    assert wrong.recv(0.5) is None
    wrong.shutdown()
    silent = bench.bus(bitrate=250_000, listen_only=True)
    assert silent.recv(0.5) is None
    silent.shutdown()
    bus = bench.bus(bitrate=250_000)
    assert ids_heard(bus, {0x200}) == {0x200}
    bus.shutdown()


def test_serial_tap(bench: Clients) -> None:
    port = bench.tap(9600)
    assert bench.hands("tap tap1 P2-6 P2-2") == "ok"
    bench.power("P1")
    text = bytes_heard(port, 100)
    lines = text.split(b"\r\n")[1:-1]
    assert len(lines) >= 3
    assert all(line.startswith(b"DEPTH ") for line in lines)
    port.close()


@over_pty
def test_the_speed_set_on_the_port_decides(bench: Clients) -> None:
    port = bench.tap(19_200)
    assert bench.hands("tap tap1 P2-6 P2-2") == "ok"
    bench.power("P1")
    text = bytes_heard(port, 60)
    assert len(text) >= 60
    assert b"DEPTH" not in text
    port.baudrate = 9600
    assert bench.hands("tap tap1 P2-6 P2-2") == "ok"
    assert b"DEPTH" in bytes_heard(port, 60)
    port.close()


@over_tcp
def test_speed_by_the_hands_where_it_can_not_be_seen(bench: Clients) -> None:
    port = bench.tap(9600)
    bench.hands("tap tap1 P2-6 P2-2 4800")
    bench.power("P1")
    text = bytes_heard(port, 60)
    assert len(text) >= 60
    assert b"DEPTH" not in text
    port.close()


@over_pty
def test_nobody_reads_and_the_bench_goes_on(bench: Clients) -> None:
    bench.power("P1", "P2")
    bus, silent = bench.bus(bitrate=250_000), bench.tap(9600)
    deadline = time.monotonic() + 1.0
    count = 0
    while time.monotonic() < deadline:  # the port is open and unread meanwhile
        bench.meter.query("*IDN?")
        silent.read(1)
        count += 1
    assert count > 10
    assert ids_heard(bus, {0x100, 0x200}) == {0x100, 0x200}
    bus.shutdown()
    silent.close()


def open_descriptors() -> int:
    folder = Path("/proc/self/fd")
    return len(list(folder.iterdir())) if folder.is_dir() else 0


def test_started_and_ended_leaves_nothing(profile: Path) -> None:
    before = open_descriptors()
    pids = []
    for _ in range(2):
        bench = start(profile)
        pids.append(bench.pid)
        bench.close()
        bench.close()
    assert open_descriptors() == before
    for pid in pids:
        with pytest.raises(ProcessLookupError):  # not even a zombie
            os.kill(pid, 0)


def test_ends_by_itself_when_whoever_started_it_is_gone(profile: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "benchcheck.simulator", str(profile)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    ) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        line = process.stdout.readline()
        process.stdin.close()
        assert process.wait(PATIENCE_S) == 0
    assert json.loads(line)["simulated"] is True


def test_ends_on_termination(profile: Path) -> None:
    bench = start(profile)
    bench._process.terminate()
    assert bench._process.wait(PATIENCE_S) == 0
    bench.close()


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C is sent as a signal")
def test_the_command_prints_the_description_and_serves_until_ctrl_c(profile: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "benchcheck", "simulate", str(profile), "--transport", "tcp"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        description = json.loads(process.stdout.readline())
        clients = Clients(description)
        assert clients.hands("probes P9-3 P9-4") == "ok"
        clients.close()
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE_S) == 0
        assert b"Traceback" not in process.stderr.read()


def test_truth_goes_to_its_file_only(profile: Path, tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[faults]]\nkind = "open_run"\nrun = "W10"\n', encoding="utf-8")
    truth = tmp_path / "truth.json"
    with start(profile, faults=faults, truth=truth) as simulated:
        assert "W10" not in json.dumps(simulated.description)
    planted = json.loads(truth.read_text(encoding="utf-8"))
    assert planted == [{"kind": "open_run", "stage": "dead", "where": ["W10"], "run": "W10"}]


def test_bad_files_are_said_in_the_childs_own_words(profile: Path, tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[faults]]\nkind = "open_run"\nrun = "W77"\n', encoding="utf-8")
    with pytest.raises(InputError, match="no run 'W77'"):
        start(profile, faults=faults)
    with pytest.raises(InputError):
        start(tmp_path / "nowhere")


def test_demo_faults_lie_beside_the_simulator() -> None:
    assert demo_faults_path().parent.name == "simulator"
