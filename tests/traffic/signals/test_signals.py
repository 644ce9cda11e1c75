"""Signals out of columns, against cantools' own decode: random databases and frames, and the launch's database."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import cantools
import numpy as np
import pytest
from cantools.database.conversion import BaseConversion
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.reading.read_tables import Database
from benchcheck.profile.database import load_database, signals_of
from benchcheck.traffic.signals.signals import SignalColumn, decode
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.frames import FrameBatch, FrameFlag
from benchcheck.words.signal import Field, Signal

LAUNCH = Path(__file__).parents[3] / "profiles" / "survey_launch" / "launch.dbc"
KEY = IdKey(0x120, False)


def batch_of(payloads: list[bytes], flags: int = 0, can_id: int = KEY.can_id) -> FrameBatch:
    count = len(payloads)
    width = 64 if any(len(payload) > 8 for payload in payloads) else 8
    data = np.zeros((count, width), np.uint8)
    for row, payload in enumerate(payloads):
        data[row, : len(payload)] = list(payload)
    return FrameBatch(
        np.arange(count, dtype=np.int64) * 1_000_000,
        np.zeros(count, np.uint16),
        np.full(count, can_id, np.uint32),
        np.full(count, flags, np.uint16),
        np.array([len(payload) for payload in payloads], np.uint8),
        data,
    )


def by_cantools(message: Any, payload: bytes) -> dict[str, Any]:
    """Raw values of the signals that are whole in a frame; what cantools says of more bytes than the message has."""
    found = message.decode(payload, decode_choices=False, scaling=False, allow_truncated=True, allow_excess=True)
    return dict(found)


def same_number(mine: Any, other: Any) -> bool:
    return bool(mine == other or (math.isnan(mine) and math.isnan(other)))


def assert_agrees(message: Any, payloads: list[bytes], key: IdKey = KEY) -> None:
    flags = FrameFlag.EXTENDED.value if key.extended else 0
    signals = signals_of(message)
    assert [signal.name for signal in signals] == [signal.name for signal in message.signals]
    columns = decode(batch_of(payloads, flags, key.can_id), key, signals)
    wanted = [by_cantools(message, payload) for payload in payloads]
    for column in columns:
        name = column.signal.name
        rows = [row for row, found in enumerate(wanted) if name in found]
        assert column.rows.tolist() == rows, name
        assert len(rows) + column.too_short + column.elsewhere == len(payloads)
        for row, raw, value in zip(rows, column.raw.tolist(), column.values.tolist(), strict=True):
            assert same_number(raw, wanted[row][name]), (name, payloads[row].hex())
            theirs = message.get_signal_by_name(name).conversion.raw_to_scaled(raw, decode_choices=False)
            # cantools reckons whole factors in unbounded integers, so beyond 2^53 it rounds once and not thrice
            assert same_number(value, theirs) or value == pytest.approx(theirs, rel=1e-15)


def _positions(field: Field) -> set[int]:
    """Bit numbers that a field takes, walked one by one: the definition, not the formula under test."""
    taken, bit = set(), field.start_bit
    for _ in range(field.length_bits):
        taken.add(bit)
        if field.little_endian:
            bit += 1
        else:
            bit = bit - 1 if bit % 8 else bit + 15
    return taken


@st.composite
def messages(draw: st.DrawFn) -> tuple[Any, list[bytes]]:
    """A message of random signals that don't overlap, and frames of it of all lengths."""
    size = draw(st.sampled_from([1, 3, 8, 8, 12, 64]))
    taken: set[int] = set()
    signals = []
    for number in range(draw(st.integers(1, 6))):
        is_float = draw(st.integers(0, 3)) == 0
        field = Field(
            draw(st.integers(0, 8 * size - 1)),
            draw(st.sampled_from([16, 32, 64]) if is_float else st.integers(1, 64)),
            draw(st.booleans()),
            draw(st.booleans()),
            is_float,
        )
        bits = _positions(field)
        if max(bits) >= 8 * size or bits & taken:
            continue
        taken |= bits
        conversion = BaseConversion.factory(
            scale=draw(st.sampled_from([1, 2, -3, 0.5, 0.1, 0.0078125, 1e-7, 1000])),
            offset=draw(st.sampled_from([0, -40, 0.25, 273.15])),
            is_float=is_float,
        )
        signals.append(
            cantools.database.can.Signal(
                f"s{number}",
                field.start_bit,
                field.length_bits,
                byte_order="little_endian" if field.little_endian else "big_endian",
                is_signed=field.signed and not is_float,
                conversion=conversion,
            )
        )
    message = cantools.database.can.Message(KEY.can_id, "random", size, signals, strict=True, is_fd=size > 8)
    return message, draw(st.lists(st.binary(min_size=0, max_size=size), min_size=1, max_size=8))


@settings(max_examples=150)
@given(messages())
def test_as_cantools_decodes_random_messages(made: tuple[Any, list[bytes]]) -> None:
    message, payloads = made
    assert_agrees(message, [*payloads, bytes(message.length), b"\xff" * message.length])


@pytest.mark.parametrize("number", range(len(cantools.database.load_file(LAUNCH).messages)))
def test_as_cantools_decodes_the_launch(number: int) -> None:
    message: Any = cantools.database.load_file(LAUNCH).messages[number]
    rng = np.random.default_rng(number)
    payloads = [rng.bytes(rng.integers(0, 9)) for _ in range(50)]
    assert_agrees(message, payloads, IdKey(message.frame_id, message.is_extended_frame))


MULTIPLEXED = """VERSION ""
BU_: A
BO_ 288 MIXED: 8 A
 SG_ Page M : 0|4@1+ (1,0) [0|0] "" A
 SG_ Always : 8|8@1- (0.5,0) [0|0] "" A
 SG_ Low m0 : 16|16@1+ (1,0) [0|0] "" A
 SG_ Deep m1M : 16|8@1+ (1,0) [0|0] "" A
 SG_ Inner m3 : 24|8@1+ (1,0) [0|0] "" A
 SG_ Ranged m0 : 32|12@1+ (0.1,0) [0|0] "" A
SG_MUL_VAL_ 288 Low Page 0-0;
SG_MUL_VAL_ 288 Deep Page 1-1;
SG_MUL_VAL_ 288 Inner Deep 3-5;
SG_MUL_VAL_ 288 Ranged Page 0-1, 4-6;
"""


def test_multiplexed_signals_are_where_their_multiplexers_say() -> None:
    database: Any = cantools.database.load_string(MULTIPLEXED, "dbc")
    message = database.get_message_by_name("MIXED")
    rng = np.random.default_rng(4)
    # what cantools can't decode whole (a page or depth that it has no signals for) it refuses: those are left out here
    pages = [(0, 0), (1, 3), (1, 5), (4, 0)]
    payloads = [bytes([page | 0xA0, 9, depth]) + rng.bytes(5) for page, depth in pages for _ in range(5)]
    assert_agrees(message, payloads)
    inner = next(column for column in _columns(message, payloads) if column.signal.name == "Inner")
    assert inner.rows.tolist() == list(range(5, 15))
    assert (inner.too_short, inner.elsewhere) == (0, 10)
    # a page that nobody knows: the plain signals are there, the others not
    unknown = {column.signal.name: len(column.rows) for column in _columns(message, [b"\x09\x02" + bytes(6)])}
    assert unknown == {"Page": 1, "Always": 1, "Low": 0, "Deep": 0, "Inner": 0, "Ranged": 0}


def _columns(message: Any, payloads: list[bytes]) -> list[SignalColumn]:
    return decode(batch_of(payloads), KEY, signals_of(message))


def test_a_short_frame_gives_what_it_has() -> None:
    low, high = Signal("low", Field(0, 16)), Signal("high", Field(20, 12, True, True))
    first, second = decode(batch_of([b"\x01\x02\x03\xf4", b"\x01\x02\x03", b"\x01", b""]), KEY, (low, high))
    assert (first.rows.tolist(), first.raw.tolist(), first.too_short) == ([0, 1], [0x201, 0x201], 2)
    # bits 20 to 31 are F40: as 12 bits of two's complement F40 - 1000 = -C0
    assert (second.rows.tolist(), second.raw.tolist(), second.too_short) == ([0], [-0xC0], 3)


def test_base_and_extended_identifiers_are_kept_apart() -> None:
    signal = Signal("it", Field(0, 8))
    payloads = [b"\x01", b"\x02", b"\x03", b"\x04"]
    batch = batch_of(payloads)
    batch.flags[:] = [0, FrameFlag.EXTENDED, FrameFlag.REMOTE, FrameFlag.ERROR]
    assert decode(batch, KEY, (signal,))[0].raw.tolist() == [1]
    assert decode(batch, IdKey(KEY.can_id, True), (signal,))[0].raw.tolist() == [2]
    assert decode(batch, IdKey(0x121, False), (signal,))[0].raw.tolist() == []
    assert decode(batch_of([]), KEY, (signal,))[0].values.tolist() == []


def test_floats_are_read_as_the_standard_says() -> None:
    # IEEE 754: 3F800000 is 1.0 in 32 bits, C000000000000000 is -2.0 in 64, 3C00 is 1.0 in 16
    single = decode(batch_of([bytes.fromhex("0000803f")]), KEY, (Signal("f", Field(0, 32, is_float=True)),))
    double = decode(
        batch_of([bytes.fromhex("c000000000000000")]), KEY, (Signal("d", Field(7, 64, False, is_float=True)),)
    )
    half = decode(batch_of([bytes.fromhex("3c00")]), KEY, (Signal("h", Field(7, 16, False, is_float=True)),))
    assert [column[0].raw.tolist() for column in (single, double, half)] == [[1.0], [-2.0], [1.0]]


@pytest.mark.parametrize(
    ("start", "length", "is_float"), [(0, 0, False), (0, 65, False), (-1, 8, False), (0, 24, True)]
)
def test_what_is_no_field_is_refused(start: int, length: int, is_float: bool) -> None:
    with pytest.raises(ValueError, match="bits"):
        Field(start, length, is_float=is_float)


def test_the_profiles_database_gives_the_descriptions() -> None:
    found = load_database("launch.dbc", LAUNCH)
    assert isinstance(found, Database)
    by_name = {signal.name: signal for message in found.messages for signal in message.signals}
    assert by_name["SecondsOfDay"] == Signal("SecondsOfDay", Field(7, 32, False), 0.001, 0.0, "s")
    assert by_name["BankTemperature"] == Signal("BankTemperature", Field(48, 8), 1.0, -40.0, "degC")
