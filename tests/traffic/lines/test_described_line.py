"""Lines of a protocol that a profile describes: any cut gives the same, garbage is counted, nothing is raised."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.line_protocol import Checksum, ChecksumKind, Crc16, TextProtocol
from benchcheck.simulator.sentences import described_line
from benchcheck.traffic.lines.described_line import LONGEST_LINE, DescribedLineParser
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.nmea import Sentence, SentenceResult
from benchcheck.traffic.lines.protocols import BUILT_IN, described
from benchcheck.traffic.lines.shown_bytes import shown_bytes

TIDE = TextProtocol("tide", b"\r\n", r"(LEVEL|BATT) [0-9.]+")
SUMMED = TextProtocol("sound", b"\r\n", r"#(SVP|TEMP),[0-9.]+", Checksum(ChecksumKind.XOR, b"*", b"#"))
ADDED = TextProtocol("winch", b";", r"([A-Z]{2})=[0-9]+", Checksum(ChecksumKind.SUM))
# 0x29B1 is the published check value of this CRC for 123456789: so the line 123456789 has that sum
CRC = TextProtocol("gyro", b"\n", r"([0-9]+)", Checksum(ChecksumKind.CRC16, b" ", b"", Crc16(0x1021, 0xFFFF)))
ALL = (TIDE, SUMMED, ADDED, CRC)


def parsed(protocol: TextProtocol, data: bytes) -> list[tuple[str, str]]:
    parser = DescribedLineParser(protocol)
    return [(found.result.value, found.type) for found in [*parser.feed(data), *parser.flush()]]


def xor(text: bytes) -> int:
    value = 0
    for byte in text:
        value ^= byte
    return value


@pytest.mark.parametrize(
    ("protocol", "data", "result", "kind"),
    [
        (TIDE, b"LEVEL 1.52\r\n", "no_checksum", "LEVEL"),
        (TIDE, b"LEVEL 1.52\n\r\n", "other", ""),
        (TIDE, b"level 1.52\r\n", "other", ""),
        (TIDE, b"\xffLEVEL 1.52\r\n", "other", ""),
        (SUMMED, b"#SVP,1480.2*%02X\r\n" % xor(b"SVP,1480.2"), "good", "SVP"),
        (SUMMED, b"#SVP,1480.2*%02x\r\n" % xor(b"SVP,1480.2"), "good", "SVP"),
        (SUMMED, b"#SVP,1480.3*%02X\r\n" % xor(b"SVP,1480.2"), "bad_checksum", "SVP"),
        (SUMMED, b"#SVP,1480.2\r\n", "other", ""),  # its sum is missing
        (SUMMED, b"SVP,1480.2*%02X\r\n" % xor(b"SVP,1480.2"), "other", ""),
        (SUMMED, b"*41\r\n", "other", ""),
        (ADDED, b"AB=7%02X;" % (sum(b"AB=7") & 255), "good", "AB"),
        (ADDED, b"AB=700;", "bad_checksum", "AB"),
        (CRC, b"123456789 29B1\n", "good", "123456789"),
        (CRC, b"123456789 29B2\n", "bad_checksum", "123456789"),
        (CRC, b"x 29B1\n", "other", ""),
        (CRC, b"29B1\n", "other", ""),
    ],
)
def test_one_line(protocol: TextProtocol, data: bytes, result: str, kind: str) -> None:
    assert parsed(protocol, data) == [(result, kind)]


def test_empty_lines_count_as_nothing_and_the_last_one_without_an_end_is_judged() -> None:
    assert parsed(TIDE, b"\r\n\r\nLEVEL 1\r\n\r\nBATT 2") == [("no_checksum", "LEVEL"), ("no_checksum", "BATT")]


def test_a_line_that_never_ends_is_one_garbled_line_and_the_next_one_is_heard() -> None:
    parser = DescribedLineParser(TIDE)
    for _ in range(100):
        assert parser.feed(b"x" * 1000) == []
        assert len(parser._pending) <= LONGEST_LINE + 1
    assert [found.result for found in parser.feed(b"\r\nLEVEL 1\r\n")] == [
        SentenceResult.OTHER,
        SentenceResult.NO_CHECKSUM,
    ]


@pytest.mark.parametrize("more", [-1, 0, 1, 2])
def test_the_longest_line_in_any_cut(more: int) -> None:
    data = b"LEVEL " + b"1" * (LONGEST_LINE - 6 + more) + b"\r\nBATT 1\r\n"
    expected = ["no_checksum" if more <= 0 else "other", "no_checksum"]
    for size in (1, 7, LONGEST_LINE, LONGEST_LINE + 1, len(data)):
        parser = DescribedLineParser(TIDE)
        found: list[Sentence] = []
        for at in range(0, len(data), size):
            found += parser.feed(data[at : at + size])
        assert [sentence.result.value for sentence in found] == expected


PIECES = st.lists(
    st.one_of(
        st.sampled_from(
            [
                b"LEVEL 1.5\r\n",
                b"BATT 2\r",
                b"\n",
                b"\r",
                b";",
                b"#SVP,1*",
                b"AB=7;",
                b"123456789 29B1\n",
                b"\0",
                b"1" * 1030,
            ]
        ),
        st.binary(max_size=20),
    ),
    max_size=20,
).map(b"".join)


@settings(max_examples=200, deadline=None)
@given(PIECES, st.sampled_from(ALL), st.data())
def test_any_cut_gives_the_same(data: bytes, protocol: TextProtocol, draw: st.DataObject) -> None:
    places = sorted(draw.draw(st.lists(st.integers(0, len(data)), max_size=8)))
    parser, found = DescribedLineParser(protocol), []
    for start, end in zip([0, *places], [*places, len(data)], strict=True):
        found += parser.feed(data[start:end])
    whole = DescribedLineParser(protocol)
    assert found + parser.flush() == whole.feed(data) + whole.flush()


@settings(max_examples=150, deadline=None)
@given(PIECES, st.sampled_from(ALL), st.data())
def test_parts_of_a_recording_merge_into_the_tally_of_the_whole(
    data: bytes, protocol: TextProtocol, draw: st.DataObject
) -> None:
    """Also where a part begins within the delimiter of two characters."""
    places = sorted(draw.draw(st.lists(st.integers(0, len(data)), max_size=5)))
    whole = LineTally(described(protocol))
    tallies = []
    for number, (start, end) in enumerate(zip([0, *places], [*places, len(data)], strict=True)):
        part = LineTally(described(protocol), 0)
        middle = draw.draw(st.integers(start, end))
        for begin, stop in ((start, middle), (middle, end)):
            part.feed(data[begin:stop], number)
            whole.feed(data[begin:stop], number)
        tallies.append(part)
    first = tallies[0]
    for later in tallies[1:]:
        first.merge(later)
    first.flush()
    whole.flush()
    assert (first.good, first.bad_checksum, first.no_checksum, first.other) == (
        whole.good,
        whole.bad_checksum,
        whole.no_checksum,
        whole.other,
    )
    assert first.types == whole.types


@pytest.mark.parametrize("protocol", ALL, ids=lambda protocol: protocol.name)
def test_what_the_simulator_says_is_sound(protocol: TextProtocol) -> None:
    kind = {"tide": "LEVEL", "sound": "TEMP", "winch": "AB", "gyro": "123"}[protocol.name]
    data = b"".join(described_line(protocol, kind, moment / 7) for moment in range(200))
    tally = LineTally(described(protocol))
    tally.feed(data)
    assert (tally.understood, tally.faulty, tally.other) == (200, 0, 0)
    assert set(tally.types) == {kind}


def test_a_type_is_shown_escaped() -> None:
    protocol = TextProtocol("odd", b"\n", r"([\x1b-\x9b]+)")
    assert parsed(protocol, b"\x1b\x9b\n") == [("no_checksum", "\\x1b\\x9b")]
    assert parsed(protocol, b"A" * 41 + b"\n") == [("other", "")]


def test_the_registry_names_its_lines() -> None:
    assert {name: (entry.noun, entry.is_summed) for name, entry in BUILT_IN.items()} == {
        "nmea0183": ("sentence", True),
        "text": ("readable line", False),
    }
    assert described(SUMMED).is_summed
    assert not described(TIDE).is_summed


def test_bytes_are_shown_as_text_that_steers_nothing() -> None:
    assert shown_bytes(b"A\x1b[2J\\\x00\xff<") == "A\\x1b[2J\\x5c\\x00\\xff<"
    tally = LineTally("text")
    for at in range(0, 60, 7):
        tally.feed(bytes(range(0x60, 0x9C))[at : at + 7])
    assert tally.begins == bytes(range(0x60, 0x80))
