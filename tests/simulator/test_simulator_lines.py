"""Which RS-232 transmitter a tap hears, and what it makes of it at its own speed."""

from __future__ import annotations

from functools import reduce

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_benches import ALL_IN, chain

from benchcheck.simulator.faults import (
    CrossedTxRx,
    DeadTransmitter,
    Fault,
    IntermittentUnit,
    LateUnit,
    OpenRun,
    Short,
    SilentUnit,
    WrongBaud,
)
from benchcheck.simulator.lines import LineSender, Piece, garble, senders
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.sentences import checksum, nmea, sentence
from benchcheck.simulator.timing import habits
from benchcheck.words.bench_state import BenchState


def drivers(*faults: Fault, contact: str = "P2-8", ground: str = "P2-2", state: BenchState = ALL_IN) -> set[str]:
    model = BenchModel(chain(), faults, seed=0)
    model.set_state(state)
    model.set_supply(24.0, 5.0, True)
    return {driven.transmitter.unit for driven in model.hearing().at_tap(contact, ground)}


def sender(*faults: Fault, unit: str = "U1") -> LineSender:
    harness = chain()
    return next(s for s in senders(harness, habits(harness, faults), faults) if s.unit == unit)


def said(line: LineSender, first_s: float, last_s: float, since: float | None = 0.0, step_s: float = 0.01) -> bytes:
    heard = bytearray()
    for step in range(round(first_s / step_s), round(last_s / step_s) + 1):
        for piece in line.advance(step * step_s, since):
            heard += piece.heard(line.baud, line.baud)
    return bytes(heard)


# --- who ------------------------------------------------------------------------------------------------------


def test_the_transmitter_at_the_other_end_is_heard() -> None:
    assert drivers() == {"U1"}
    assert drivers(contact="P2-7") == {"U2"}
    assert drivers(contact="P2-1") == set()


def test_heard_at_an_open_connector_from_the_far_end() -> None:
    assert drivers(state=BenchState(on_unit=frozenset({"P1"}))) == {"U1"}


def test_a_tap_without_the_right_ground_hears_nothing() -> None:
    assert drivers(ground="P2-9") == set()


@pytest.mark.parametrize(
    "fault", [OpenRun("W51"), DeadTransmitter("P1-7"), Short(("P2-8", "GND1"), 0.1), OpenRun("W11")]
)
def test_nothing_drives_the_wire(fault: Fault) -> None:
    assert drivers(fault) == set()


def test_crossed_wires_are_driven_by_whoever_drives_them() -> None:
    # crossed at P1: U1's transmitter is on the wire of U2's transmitter, and the two receivers are joined
    assert drivers(CrossedTxRx(("P1-7", "P1-8")), contact="P2-8") == set()
    # the other wire is driven by both, which cancel: a receiver there sees no space
    assert drivers(CrossedTxRx(("P1-7", "P1-8")), contact="P2-7") == set()
    # with U2 out nothing fights: what U1 says arrives where U2's own transmitter would sit
    state = BenchState(on_unit=frozenset({"P1"}))
    assert drivers(CrossedTxRx(("P1-7", "P1-8")), contact="P2-7", state=state) == {"U1"}


# --- what -----------------------------------------------------------------------------------------------------


def test_sentences_of_the_expected_types_at_their_period() -> None:
    text = said(sender(), 0.0, 3.7).decode("ascii")
    lines = text.split("\r\n")
    kinds = [line[1:6] for line in lines if line]
    assert set(kinds) == {"GPGGA", "GPZDA"}
    assert kinds.count("GPGGA") == 6  # from 0.7 s on, every half second, and whole by 3.7 s
    for line in lines[:-1]:
        body, _, stated = line[1:].partition("*")
        assert int(stated, 16) == reduce(lambda a, b: a ^ b, body.encode())
        assert len(line) + 2 <= 82  # NMEA 0183: at most 82 characters (from memory)


def test_a_sentence_takes_its_time_on_the_wire() -> None:
    # 82 characters at 4800 8N1 take 170.8 ms (derived); 10 bits a character
    line = sender()
    begin = 0.7
    one = nmea("GPGGA", 43200 + 0.7)
    half_s = len(one) * 10 / 4800 / 2
    line.advance(begin - 0.01, 0.0)
    heard = b"".join(piece.heard(4800, 4800) for piece in line.advance(begin + half_s, 0.0))
    assert heard == one[: len(heard)]
    assert abs(len(heard) - len(one) / 2) <= 1


def test_silent_late_and_intermittent_units() -> None:
    assert said(sender(SilentUnit("U1")), 0.0, 4.0) == b""
    assert said(sender(LateUnit("U1", 2.0)), 0.0, 2.6) == b""
    assert said(sender(LateUnit("U1", 2.0)), 0.0, 4.0) != b""
    with_pauses = said(sender(IntermittentUnit("U1", 1.0, 1.0)), 0.0, 6.0)
    assert 0.3 < len(with_pauses) / len(said(sender(), 0.0, 6.0)) < 0.75


def test_power_lost_means_silence_and_a_new_start() -> None:
    line = sender()
    assert said(line, 0.0, 2.0) != b""
    assert said(line, 2.0, 3.0, since=None) == b""
    assert said(line, 3.0, 3.65, since=3.0) == b""
    assert said(line, 3.65, 5.0, since=3.0).startswith(b"$GPGGA")


def test_wrong_baud_is_the_senders() -> None:
    assert sender(WrongBaud("link", "U1", 9600)).baud == 9600
    assert sender(WrongBaud("link", "U2", 9600)).baud == 4800


def test_text_protocol() -> None:
    assert sentence("text", "DEPTH", 3.0).startswith(b"DEPTH ")
    assert sentence("text", "DEPTH", 3.0).endswith(b"\r\n")


@pytest.mark.parametrize(
    ("body", "value"),
    [
        # published sentences with their checksums (public test files and pages on NMEA 0183)
        ("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", 0x47),
        ("GPZDA,201530.00,04,07,2002,00,00", 0x60),
        ("HCHDG,101.1,,,7.1,W", 0x3C),
        ("GPBOD,,T,,M,,", 0x47),
        ("HEHDT,178.3,T", 0x22),  # published as 1E, which is wrong
    ],
)
def test_checksum_of_published_sentences(body: str, value: int) -> None:
    assert checksum(body) == value


@pytest.mark.parametrize(
    "kind", ["GPGGA", "GPRMC", "GPGLL", "GPVTG", "HEHDT", "HEROT", "SDDBT", "SDDPT", "IIMTW", "WIMWV", "PXYZQ"]
)
@pytest.mark.parametrize("moment_s", [0.0, 43210.987, 86399.999, 1e6])
def test_every_sentence_is_short_enough_and_printable(kind: str, moment_s: float) -> None:
    line = nmea(kind, moment_s)
    assert len(line) <= 82
    assert all(32 <= byte < 127 for byte in line[:-2])


# --- at another speed -----------------------------------------------------------------------------------------


def test_up_to_3_percent_off_is_read_right() -> None:
    piece = Piece(b"$GPGGA*00\r\n", 0.0, 1.0)
    assert piece.heard(4800, 4900) == piece.sentence
    assert piece.heard(4800, 4500) != piece.sentence


def test_the_receivers_model_reads_right_at_its_own_speed() -> None:
    text = bytes(range(256))
    assert garble(text, 9600, 9600) == text
    assert garble(text, 9600, 9800) == text  # 2 %: within what 8N1 bears (worked figures of UART makers)
    assert garble(text, 9600, 9400) == text
    assert garble(text, 9600, 8900) != text  # 7 %: beyond the 5.26 % that mid-bit sampling can bear


@pytest.mark.parametrize(
    ("sent", "heard"), [(4800, 9600), (9600, 4800), (4800, 38400), (38400, 4800), (4800, 19200), (9600, 115200)]
)
def test_another_speed_gives_garbage_and_never_nothing(sent: int, heard: int) -> None:
    text = nmea("GPGGA", 43200.0) * 3
    got = garble(text, sent, heard)
    assert got
    assert got == garble(text, sent, heard)
    assert b"GPGGA" not in got
    assert any(byte >= 0x80 for byte in got)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=40), st.sampled_from([1200, 4800, 9600, 38400]), st.sampled_from([1200, 4800, 9600, 115200]))
def test_garble_takes_any_bytes(data: bytes, sent: int, heard: int) -> None:
    got = garble(data, sent, heard)
    assert bool(got) == bool(data)
    if sent == heard:
        assert got == data


def test_other_framings() -> None:
    for framing in ("7E1", "8N2", "8O1"):
        assert garble(b"hello", 4800, 4800, framing) == b"hello"
