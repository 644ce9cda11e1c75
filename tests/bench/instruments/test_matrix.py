"""The switch matrix's driver: what it says to the instrument, and what it makes of one that does not obey."""

from __future__ import annotations

from contextlib import closing

import pytest
from bench_stand_ins import PtyLines

from benchcheck.bench.config import config_from_toml
from benchcheck.bench.instruments.matrix import Matrix
from benchcheck.bench.instruments.scpi import Instrument
from benchcheck.words.errors import FaultyFiles, LinkLost, SetupError

IDN = b"Harbour Instruments,SM-64,3,1.0\n"
RED = {"P1-1": "101", "P1-2": "102", "GND1": "109"}
BLACK = {"P1-1": "201", "P1-2": "202", "GND1": "209"}


class Channels(dict):
    """Route commands on a set of closed channels; `refuses` is what it won't take."""

    def __init__(self) -> None:
        super().__init__()
        self.closed: set[str] = {"101"}  # left over from whoever had it before
        self.stuck: set[str] = set()
        self.queue: list[bytes] = []
        self.refuses = ""
        self.both: list[set[str]] = []

    def get(self, command, default=None):
        header, _, rest = command.partition(" ")
        channels = rest.strip("(@)").split(",")
        if command == "*IDN?":
            return IDN
        if command == "SYST:ERR?":
            return self.queue.pop(0) if self.queue else b'0,"No error"\n'
        if self.refuses and command.startswith(self.refuses):
            self.queue.append(b'-222,"Data out of range"\n')
        elif header == "ROUT:CLOS":
            self.closed |= set(channels) - self.stuck
            self.both.append(set(self.closed))
        elif header == "ROUT:OPEN":
            self.closed -= set(channels) - self.stuck
        elif header == "ROUT:CLOS?":
            return ",".join(str(int(channel in self.closed)) for channel in channels).encode() + b"\n"
        return default


@pytest.fixture
def channels():
    return Channels()


@pytest.fixture
def matrix(channels):
    with PtyLines(channels) as stand_in:
        made = Matrix(Instrument("matrix", f"ASRL{stand_in.name}::INSTR", timeout_s=0.3), RED, BLACK)
        made.stand_in = stand_in
        yield made
        made.close()


def test_what_was_closed_before_is_opened_first(matrix, channels):
    assert matrix.join(["P1-2"], ["GND1"]) == ("102", "209")
    assert channels.closed == {"102", "209"}
    assert channels.both == [{"102", "209"}]


def test_the_old_contacts_are_let_go_before_the_new_are_joined(matrix, channels):
    matrix.join(["P1-1"], ["GND1"])
    matrix.join(["P1-2"], ["GND1"])
    assert all(len([c for c in both if c.startswith("1")]) <= 1 for both in channels.both)
    assert channels.closed == {"102", "209"}


def test_closing_it_opens_all(channels):
    with PtyLines(channels) as stand_in:
        with closing(Matrix(Instrument("matrix", f"ASRL{stand_in.name}::INSTR"), RED, BLACK)) as made:
            made.join(["P1-1"], ["P1-2"])
        assert channels.closed == set()


@pytest.mark.parametrize("which", ["102", "209"])
def test_a_channel_that_does_not_close_leaves_all_open(matrix, channels, which):
    matrix.join(["P1-1"], ["P1-2"])
    channels.stuck = {which}
    with pytest.raises(SetupError, match=f"channel {which} does not close"):
        matrix.join(["P1-2"], ["GND1"])
    assert channels.closed == set()
    channels.stuck = set()
    assert matrix.join(["P1-2"], ["GND1"])


def test_a_channel_that_does_not_open(matrix, channels):
    matrix.join(["P1-1"], ["GND1"])
    channels.stuck = {"101"}
    with pytest.raises(SetupError, match="channel 101 does not open"):
        matrix.join(["P1-2"], ["GND1"])
    with pytest.raises(SetupError, match="stay closed"):
        matrix.open_all()
    channels.stuck = set()


def test_what_it_refuses_and_what_it_does_not_say(matrix, channels):
    channels.refuses = "ROUT:CLOS (@"
    with pytest.raises(SetupError, match=r"refused ROUT:CLOS \(@102,209\): -222"):
        matrix.join(["P1-2"], ["GND1"])
    channels.refuses = ""


@pytest.mark.parametrize("answer", [b"1\n", b"1,2\n", b"\x1b[2J\n", b"1,1,1\n", b"\n"])
def test_an_answer_that_is_none_is_no_closed_channel(matrix, channels, answer):
    inner = channels.get
    channels.get = lambda command, default=None: (
        answer if command.startswith("ROUT:CLOS?") and "109" not in command else inner(command, default)
    )
    with pytest.raises(SetupError, match="when asked for 2 channels") as caught:
        matrix.join(["P1-2"], ["GND1"])
    assert caught.value.text.isprintable()
    del channels.get


def test_a_matrix_that_is_gone_is_link_lost_and_closes_quietly(matrix):
    matrix.join(["P1-1"], ["GND1"])
    matrix.stand_in.unplug()
    with pytest.raises(LinkLost):
        matrix.join(["P1-2"], ["GND1"])
    matrix.close()


TOML = """
[matrix]
resource = "ASRL/dev/ttyUSB0::INSTR"
red = { P1-1 = "101" }
black = { P1-2 = "%s" }
"""


def test_the_keys_of_the_bench_file():
    port = config_from_toml(TOML % "1!1!2", "bench.toml").matrix
    assert (port.red, port.black, port.unattended) == ({"P1-1": "101"}, {"P1-2": "1!1!2"}, False)


@pytest.mark.parametrize(
    ("channel", "said"), [("2)", "write it as"), ("101", "channel given twice"), ("", "write it as")]
)
def test_a_channel_that_can_not_be(channel, said):
    with pytest.raises(FaultyFiles) as caught:
        config_from_toml(TOML % channel, "bench.toml")
    assert said in str(caught.value)
