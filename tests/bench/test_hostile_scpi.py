"""Hostile replies to every question of every SCPI driver: nothing escapes but our own errors, nothing is shown unescaped.

The replies come in at the library's session, in memory, so that ten thousand of them take seconds; some hundred go through a real
pseudo-terminal in `test_meter.py`. Random with a fixed seed.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from contextlib import suppress
from types import SimpleNamespace

import pytest
from bench_stand_ins import IDN

from benchcheck.bench.instruments.matrix import Matrix
from benchcheck.bench.instruments.meter import ScpiMeter
from benchcheck.bench.instruments.scpi import Instrument, NoAnswerError
from benchcheck.bench.instruments.scpi_words import parse_error, parse_number, parse_switch
from benchcheck.bench.instruments.supply import Supply
from benchcheck.words.errors import BenchcheckError
from benchcheck.words.meter import MeterSpec
from benchcheck.words.reading import Reading, ReadingState

SPEC = MeterSpec(four_wire=True)
PIECES = (
    b"\x1b[2J", b"\x1b]0;title\x07", b"[bold red]", b"</td><script>", b"{{7*7}}", b"%s%n", b"\x00", b"\xff\xfe", b"\r", b"\x9b31m",
    b"\xe2\x80\xae", b"9.9E37", b"+9.91E+37", b"-9.9E37", b"NAN", b"INF", b"1e999", b"1e-999", b"0x10", b"1_000", b"1,2,3", b",", b";",
    b'"', b'0,"No error"', b'-113,"\x1b[31mUndefined"', b"ON", b"OFF", b"1", b"0", b"-1", b" ", b"\t", IDN.strip(), b"3" * 300,
)  # fmt: skip


def hostile(chance: random.Random) -> bytes:
    """One reply: anything, in most cases with a line end."""
    match chance.randrange(4):
        case 0:
            data = chance.randbytes(chance.randrange(40))
        case 1:
            data = b"".join(chance.choice(PIECES) for _ in range(chance.randrange(1, 5)))
        case 2:
            data = f"{chance.uniform(-1, 1) * 10 ** chance.randint(-45, 45):.{chance.randint(0, 12)}e}".encode()
        case _:
            data = chance.choice(PIECES)
    if chance.random() < 0.002:
        return data + b"7" * 5000  # and no line end
    return data + (b"" if chance.random() < 0.02 else b"\n")


class Session:
    """The face of the library's session: answers what is set, hostile where `chance` says so, and times out otherwise."""

    def __init__(self, chance: random.Random, share: float) -> None:
        from pyvisa.constants import InterfaceType

        self.interface_type = InterfaceType.asrl
        self.visalib, self.session = SimpleNamespace(sessions={}), 0
        self.share = share
        self.given = 0
        self._chance = chance
        self._waiting = bytearray()

    def write(self, command: str) -> None:
        if "?" not in command:
            return
        known = {"*IDN?": IDN, "SYST:ERR?": b'0,"No error"\n', "OUTP?": b"1\n", "MEAS:CURR?": b"0.5\n"}
        if self._chance.random() < self.share:
            self.given += 1
            self._waiting += hostile(self._chance)
        elif command.endswith(";*IDN?"):
            self._waiting += b"0;" + IDN
        elif command.startswith("ROUT:CLOS?"):
            self._waiting += b",".join([b"1"] * (command.count(",") + 1)) + b"\n"
        else:
            self._waiting += known.get(command, b"1.5\n")

    def read_bytes(self, count: int) -> bytes:
        from pyvisa.constants import StatusCode
        from pyvisa.errors import VisaIOError

        if not self._waiting:
            raise VisaIOError(StatusCode.error_timeout)
        piece = bytes(self._waiting[:count])
        del self._waiting[:count]
        return piece

    def flush(self, what: object) -> None:
        self._waiting.clear()

    def close(self) -> None:
        """Nothing is open."""


class InMemory(Instrument):
    """An instrument at such a session."""

    session: Session

    def _open(self, baud: int) -> None:
        self._session = self.session


def opened(session: Session) -> InMemory:
    """Who answers with something else at its greeting is refused in words, and asked again."""
    made = type("At", (InMemory,), {"session": session})
    while True:
        try:
            return made("stand-in", "ASRLmemory::INSTR", timeout_s=0.005)
        except BenchcheckError as refused:
            assert_shown(refused)


def assert_shown(thing: object) -> None:
    if isinstance(thing, BenchcheckError):
        for text in (thing.text, thing.where, thing.hint):
            assert text.isprintable(), text
    elif isinstance(thing, Reading):
        assert (thing.state is ReadingState.VALUE) == math.isfinite(thing.value)
        assert str(thing.to_json()).isprintable()
        assert thing.text.isprintable()
        if thing.state is ReadingState.VALUE:
            assert thing.uncertainty >= 0
    elif isinstance(thing, str):
        assert thing.isprintable(), thing


def actions(session: Session) -> Iterator[object]:
    """Everything that the drivers do, over and over; each result or error."""
    chance = random.Random(11)
    while True:
        yield from session_of(opened(session), opened(session), opened(session), chance)


def session_of(
    meter_at: Instrument, supply_at: Instrument, matrix_at: Instrument, chance: random.Random
) -> Iterator[object]:
    meter, supply = ScpiMeter(meter_at, SPEC), Supply(supply_at, SPEC)
    matrix = Matrix(matrix_at, {"P1-1": "101", "P1-2": "102"}, {"P1-1": "201", "P1-2": "202"})
    todo = [
        meter.ohms, meter.volts, meter.kelvin_ohms, meter.read_back, meter_at.errors,
        lambda: supply.set(24.0, 3.0), supply.on, lambda: supply.on(ramp=True), supply.off,
        supply.amps, supply.volts, supply.cut_off,
        lambda: matrix.join(["P1-1"], ["P1-2"]), lambda: matrix.join(["P1-2"], ["P1-2"]), matrix.open_all,
    ]  # fmt: skip
    try:
        for _ in range(40):
            action = chance.choice(todo)
            try:
                yield action()
            except BenchcheckError as ours:
                yield ours
            except NoAnswerError as silent:  # the instrument gives it as it is; every driver makes something of it
                assert action == meter_at.errors
                yield str(silent)
    finally:
        for thing in (matrix, supply, meter_at):
            with suppress(BenchcheckError):
                thing.close()


def run(replies: int) -> int:
    session = Session(random.Random(20311), 0.5)
    doing = actions(session)
    shown = 0
    for thing in doing:
        assert_shown(thing)
        shown += 1
        if session.given >= replies:
            break
    doing.close()
    return shown


def test_hostile_replies_to_every_driver(monkeypatch):
    monkeypatch.setattr("benchcheck.bench.instruments.supply.CHARGING_S", 0.0)
    assert run(1000) > 100


@pytest.mark.long
def test_ten_thousand_hostile_replies_to_every_driver(monkeypatch):
    monkeypatch.setattr("benchcheck.bench.instruments.supply.CHARGING_S", 0.0)
    assert run(10_000) > 1000


def test_ten_thousand_hostile_texts_to_every_parser():
    chance = random.Random(5)
    for _ in range(10_000):
        text = hostile(chance).decode("latin-1")
        number = parse_number(text)
        assert math.isnan(number.value) or abs(number.value) < 9.9e37
        entry = parse_error(text)
        assert entry.code is None or abs(entry.code) < 1_000_000
        assert parse_switch(text) in (True, False, None)
