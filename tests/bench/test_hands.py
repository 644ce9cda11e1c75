from __future__ import annotations

import json
from contextlib import closing

import pytest
from bench_stand_ins import PtyLines, TcpLines

from benchcheck.bench.hands import Hands
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import LinkLost, SetupError


class Obedient(dict):
    def get(self, command, default=None):
        return b"ok\n"


@pytest.fixture(params=[PtyLines, TcpLines])
def stand_in(request):
    with request.param(Obedient()) as made:
        yield made


def hands(stand_in, **options):
    port = stand_in.name if isinstance(stand_in, PtyLines) else f"socket://127.0.0.1:{stand_in.port}"
    return closing(Hands(port, **options))


def test_every_move_is_one_line(stand_in):
    state = BenchState(on_unit=frozenset({"P102", "P101"}), lifted=frozenset({"W231@GND2"}))
    with hands(stand_in) as moves:
        moves.touch("P101-4", "W231@GND2")
        moves.bring_to(state)
        moves.tap("tap1", "P104-3", "P104-5")
        moves.tap("tap1", "P104-3", "P104-5", 9600)
        moves.load("P101-1", "P101-2", 0.5)
        moves.unload()
    said = stand_in.lines.commands
    assert said[0] == "probes P101-4 W231@GND2"
    assert json.loads(said[1].removeprefix("state ")) == state.to_json()
    assert said[2:] == [
        "tap tap1 P104-3 P104-5",
        "tap tap1 P104-3 P104-5 9600",
        "load P101-1 P101-2 0.5",
        "load off",
    ]


def test_a_refusal_is_said(stand_in):
    stand_in.lines.replies = {"probes P101-99 P101-1": b"error no contact P101-99\n"}
    with hands(stand_in) as moves, pytest.raises(SetupError, match="no contact P101-99"):
        moves.touch("P101-99", "P101-1")


@pytest.mark.parametrize("name", ["", "P101 4", "P101-4\nprobes", "\u2126"])
def test_a_name_that_would_be_another_command_is_never_sent(stand_in, name):
    with hands(stand_in) as moves, pytest.raises(SetupError, match="can't be a name"):
        moves.touch(name, "P101-1")
    assert stand_in.lines.commands == []


def test_something_else_answers(stand_in):
    stand_in.lines.replies = {"load off": b"\x1b[2Jlogin:\n"}
    with hands(stand_in) as moves, pytest.raises(SetupError, match="hands"):
        moves.unload()


def test_silence_and_unplugging(stand_in):
    stand_in.lines.replies = {}
    with hands(stand_in, timeout_s=0.1) as moves:
        with pytest.raises(LinkLost, match="does not answer"):
            moves.unload()
        stand_in.unplug() if isinstance(stand_in, PtyLines) else stand_in.hang_up()
        with pytest.raises(LinkLost):
            moves.unload()
