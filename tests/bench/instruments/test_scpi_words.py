from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.instruments.scpi_words import Meaning, parse_error, parse_number, parse_switch


# spellings seen in published instrument guides and public drivers: overload 9.9E37, not-a-number 9.91E37
@pytest.mark.parametrize("text", ["9.9E37", "+9.90000000E+37", "+9.90E+37", "9.9e+37", " +9.9E37\r", "9.90000E+37"])
def test_overload_in_any_spelling(text):
    answer = parse_number(text)
    assert (answer.meaning, answer.negative) == (Meaning.OVERLOAD, False)


@pytest.mark.parametrize("text", ["9.91E37", "9.91000E+37", "+9.91000000E+37", "-9.91E37", "NAN", "nan"])
def test_not_a_number_is_never_an_overload(text):
    assert parse_number(text).meaning is Meaning.NOT_A_NUMBER


def test_a_32_bit_float_of_the_overload_is_still_one():
    import struct

    rounded = struct.unpack("f", struct.pack("f", 9.9e37))[0]
    assert parse_number(f"{rounded:.9E}").meaning is Meaning.OVERLOAD
    assert parse_number(f"{struct.unpack('f', struct.pack('f', 9.91e37))[0]:.9E}").meaning is Meaning.NOT_A_NUMBER


def test_negative_overload_says_so():
    assert parse_number("-9.9E37").negative is True
    assert parse_number("-INF").negative is True


# the form of a published multimeter manual: SD.DDDDDDDDESDD
def test_numbers():
    assert parse_number("+1.23456789E+03").value == pytest.approx(1234.56789)
    assert parse_number("-.5").value == -0.5
    assert parse_number("12").value == 12


@pytest.mark.parametrize(
    "text", ["", "ohm", "1.0,2.0", "1_000", "0x10", "1.5 OHM", "1e", "٣", "1 2", "--1", "INFINITE", "++INF", "1" * 65]
)
def test_garbage_is_garbage(text):
    answer = parse_number(text)
    assert answer.meaning is Meaning.GARBAGE
    assert math.isnan(answer.value)


@settings(max_examples=200)
@given(st.text(max_size=80))
def test_no_text_raises_and_only_numbers_have_values(text):
    answer = parse_number(text)
    assert math.isnan(answer.value) == (answer.meaning is not Meaning.NUMBER)
    parse_error(text)
    parse_switch(text)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e36, max_value=1e36))
def test_every_printed_number_is_read_back(value):
    assert parse_number(f"{value:+.8E}").value == float(f"{value:.8E}")


# error queue entries as in SCPI-1999, from memory
def test_error_queue():
    assert parse_error('+0,"No error"').clean
    assert parse_error('0,"No error"').clean
    assert parse_error("0").clean
    entry = parse_error('-113,"Undefined header"')
    assert (entry.code, entry.text, entry.clean) == (-113, "Undefined header", False)
    assert parse_error("what?").code is None
    assert not parse_error("").clean


def test_switch():
    assert parse_switch("1") is True
    assert parse_switch(" off ") is False
    assert parse_switch("2") is None
