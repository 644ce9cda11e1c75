"""Checksums of lines, against published check values and a reference library."""

from __future__ import annotations

import binascii

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.harness.line_protocol import CHECK_INPUT, Checksum, ChecksumKind, Crc16, TextProtocol

# The published check value of a CRC is that of the characters 123456789; these stand in the public catalogues of
# parametrised CRC algorithms and in the texts named (from memory of those; each was computed here as well).
PUBLISHED = [
    (Crc16(0x1021), 0x31C3),  # as of file transfer over modems; the library's own crc_hqx from 0
    (Crc16(0x1021, 0xFFFF), 0x29B1),  # the same from all ones; crc_hqx from 0xFFFF
    (Crc16(0x1021, 0xFFFF, False, 0xFFFF), 0xD64E),
    (Crc16(0x1021, 0, True), 0x2189),  # ITU-T V.41, lowest bit first
    (Crc16(0x1021, 0xFFFF, True, 0xFFFF), 0x906E),  # ITU-T X.25, ISO/IEC 13239 frame check sequence
    (Crc16(0x8005, 0, True), 0xBB3D),
    (Crc16(0x8005, 0xFFFF, True), 0x4B37),  # of a well-known serial register protocol
    (Crc16(0x8005), 0xFEE8),
]


@pytest.mark.parametrize(("crc", "check"), PUBLISHED)
def test_published_check_values(crc: Crc16, check: int) -> None:
    assert crc.of(CHECK_INPUT) == check


@given(st.binary(max_size=50), st.integers(0, 0xFFFF))
def test_against_the_reference_of_the_standard_library(data: bytes, initial: int) -> None:
    assert Crc16(0x1021, initial).of(data) == binascii.crc_hqx(data, initial)


def test_xor_and_sum_worked_by_hand() -> None:
    # the digits 1 to 9 are 0x31 to 0x39: nine times 0x30 and 1^2^...^9 = 1; their sum is 9 * 48 + 45 = 477 = 0x1DD
    assert Checksum(ChecksumKind.XOR).of(CHECK_INPUT) == 0x31
    assert Checksum(ChecksumKind.SUM).of(CHECK_INPUT) == 0xDD
    assert Checksum(ChecksumKind.XOR).of(b"") == 0


def test_digits() -> None:
    kinds = {kind: Checksum(kind).digits for kind in ChecksumKind}
    assert kinds == {"none": 0, "xor": 2, "sum": 2, "crc16": 4}


def test_all_of_a_protocol_is_told_in_one_printable_line() -> None:
    checksum = Checksum(ChecksumKind.CRC16, b"*", b"#", Crc16(0x1021, 0xFFFF))
    told = TextProtocol("tide", b"\r\n", "(A) .*", checksum).told
    assert told.isprintable()
    assert told != TextProtocol("tide", b"\r\n", "(A) .*", Checksum(ChecksumKind.CRC16, b"*", b"#", Crc16(0x1021))).told
    assert "0x1021" in told
