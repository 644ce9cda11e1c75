"""The plain bit-by-bit frame against what others have published."""

from __future__ import annotations

import pytest
from plain_bits import classic, crc, crc15, fd

CHECK_TEXT = [(byte >> place) & 1 for byte in b"123456789" for place in range(7, -1, -1)]


def test_crc_catalogue_values() -> None:
    # crc-catalog (documentation of the Rust crate crc-catalog): CRC-15/CAN, CRC-17/CAN-FD, CRC-21/CAN-FD, check values
    assert crc15(CHECK_TEXT) == 0x059E
    assert crc(CHECK_TEXT, 17, 0x1685B) == 0x04F03
    assert crc(CHECK_TEXT, 21, 0x102899) == 0x0ED841


def test_encyclopaedia_frame() -> None:
    # Figure of the encyclopaedia article "CAN bus" (from memory): base 0x014, one byte 01, acknowledgement recessive,
    # three bits of intermission: 58 bits. CRC and stuffed length re-computed with an independent script.
    frame = classic(0x014, b"\x01")
    assert "".join(map(str, frame.bits)) == "0000010010100000100010000010011110111010100111111111111111"
    assert frame.crc == 0x7753
    assert len(frame.stuffed) == 45


def test_car_frame() -> None:
    # Read-me of a public hardware project: base 0x0C1, captured in a car, CRC bits 101101101000000
    frame = classic(0x0C1, bytes.fromhex("4001087500000000"))
    assert frame.crc == 0b101101101000000 == 0x5B40
    # stuffed bits re-computed with an independent script
    assert frame.stuffed_text == (
        "000011000001100010000100000100000100010000100001110101000001000001000001000001000001000001001011011010000010"
    )


def test_fd_frame() -> None:
    # A public question-and-answer thread with the full bit list: FD base 0x5AA, BRS, eight bytes FF
    frame = fd(0x5AA, b"\xff" * 8, brs=True)
    assert frame.dynamic == 12
    assert frame.count_field == "1100"
    assert frame.crc == 0x006BD
    # stuffed bits with the fixed ones, and total with delimiter, ACK, EOF, intermission: independent script
    assert frame.stuffed_text == (
        "0101101010100010101000111110111110111110111110111110111110111110111110111110111110111110111110111101100100"
        "0010011001010111011"
    )
    assert len(frame.bits) == 138


@pytest.mark.parametrize(
    ("can_id", "data", "kind", "check", "stuffed"),
    [
        # computed by an independent script; no outside publication
        (0x000, b"", {}, 0x0000, 40),
        (
            0x123,
            bytes.fromhex("DEADBEEF"),
            {},
            0x4E6B,
            "00010010001100001001101111010101101101111100111011111000111001101011",
        ),
        (0x123, b"", {"remote": True}, 0x1B9D, "00010010001110000010001101110011101"),
        (0x7FF, b"\xff" * 8, {}, 0x4C89, 113),
        (0x18FEF100, b"\xff" * 8, {"extended": True}, 0x177A, 133),
        (
            0x12345678,
            b"\x01\x02\x03",
            {"extended": True},
            0x5B84,
            "0100100011011100010101100111100000100011000001001000001010000010011101101110000100",
        ),
    ],
)
def test_independent_vectors(can_id: int, data: bytes, kind: dict[str, bool], check: int, stuffed: int | str) -> None:
    frame = classic(can_id, data, **kind)
    assert frame.crc == check
    assert (frame.stuffed_text if isinstance(stuffed, str) else len(frame.stuffed)) == stuffed


def test_fd_lengths_without_and_with_worst_stuffing() -> None:
    # Patch mail of Linux include/linux/can/length.h: 64 bytes take 579 / 598 bits without dynamic stuff bits and
    # 712 / 736 at worst. The first are the widths without stuffing, so take the dynamic ones off any frame.
    for extended, plain_bits, worst_bits in ((False, 579, 712), (True, 598, 736)):
        for data in (bytes(64), b"\xff" * 64, b"\x55" * 64, b"\x78" * 64):
            frame = fd(0x2AA, data, extended=extended)
            assert len(frame.bits) - frame.dynamic == plain_bits
            assert len(frame.bits) <= worst_bits
