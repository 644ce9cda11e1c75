"""[[protocols]] of harness.toml, links that name one, and what is refused in words."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest
from sample_profile import faults, sample

from benchcheck.harness.difference.compare import difference
from benchcheck.harness.line_protocol import Checksum, ChecksumKind, Crc16, TextProtocol

H = "harness.toml"
PROTOCOL = """
[[protocols]]
name = "tide"
delimiter = "\\r\\n"
pattern = '#(LEVEL|BATT),[0-9.]+'
checksum = "crc16"
checksum_after = "*"
sum_from = "#"
polynomial = 0x1021
initial = 0xFFFF
check = 0x29B1                        # as published for it

"""
ABOVE = "[[links]]"


def with_protocol(text: str = PROTOCOL, protocol: str = "tide") -> tuple[tuple[str, str, str], ...]:
    return (H, ABOVE, text + ABOVE), (H, '"nmea0183"', f'"{protocol}"')


def test_a_protocol_and_the_link_that_speaks_it() -> None:
    harness = sample(*with_protocol())
    crc = Crc16(0x1021, 0xFFFF)
    expected = TextProtocol("tide", b"\r\n", "#(LEVEL|BATT),[0-9.]+", Checksum(ChecksumKind.CRC16, b"*", b"#", crc))
    assert harness.protocols[0].told == expected.told
    assert harness.links[0].protocol == "tide"
    assert harness.links[0].described == harness.protocols[0]


def test_a_link_without_a_speed_and_a_talk_without_a_period() -> None:
    assert sample((H, "baud = 4800", "")).links[0].baud == 0
    assert sample().links[0].described is None
    talk = sample().links[0].talks[0]
    assert not talk.is_timed
    assert sample((H, 'types = ["GPGGA"]', 'types = ["GPGGA"]\nperiod_s = 0.5')).links[0].talks[0].is_timed


@pytest.mark.parametrize(
    ("change", "words", "hint"),
    [
        (("'#(LEVEL|BATT),[0-9.]+'", "'(a+)+'"), "pattern: repeats a group", "Repeat single characters"),
        (("'#(LEVEL|BATT),[0-9.]+'", "'(x).*.*.*y'"), "can take what", "what can't be the next thing"),
        (("'#(LEVEL|BATT),[0-9.]+'", "'LEVEL'"), "pattern: has no group", "parentheses"),
        (('"\\r\\n"', '"\\n\\n"'), "delimiter: has the same character twice", "the last of them"),
        (('"\\r\\n"', '""'), "delimiter: is empty", "what ends a line"),
        (('"\\r\\n"', '"\u20ac"'), "delimiter: U+20AC is no single byte", "U+00FF"),
        (("check = 0x29B1", "check = 0x29B2"), "gives 0x29B1 for 123456789, not 0x29B2", "polynomial"),
        (("check = 0x29B1", ""), "without its published check value", "check = 0x29B1"),
        (("polynomial = 0x1021", ""), "crc16 without its polynomial", "polynomial"),
        (('"crc16"', '"xor"'), 'polynomial: goes with checksum = "crc16" only', "Leave it out"),
        (('"crc16"', '"crc32"'), "crc32", "crc16"),
        (
            ('checksum_after = "*"', 'checksum_after = "\\r\\n"'),
            "checksum_after: holds the delimiter",
            "A line ends there",
        ),
        (('name = "tide"', 'name = "text"'), "'text' is built in", "a name of your own"),
        (('name = "tide"', 'name = "tides"'), "protocol: 'tide' is neither built in nor in [[protocols]]", "'tides'"),
        (('sum_from = "#"', 'sumfrom = "#"'), "unknown key 'sumfrom'", "sum_from"),
    ],
)
def test_what_is_wrong_is_told_in_words(change: tuple[str, str], words: str, hint: str) -> None:
    assert change[0] in PROTOCOL
    found = faults(*with_protocol(PROTOCOL.replace(*change)))
    match = [fault for fault in found if words in fault.text]
    assert match, [str(fault) for fault in found]
    assert hint in match[0].hint
    assert all(fault.text.isprintable() and fault.hint.isprintable() for fault in found)
    assert all(fault.place.line for fault in found)


def test_two_of_one_name() -> None:
    found = faults(*with_protocol(PROTOCOL + PROTOCOL))
    assert [fault.text[:30] for fault in found] == ["protocol 'tide' is there twice,"[:30]]


def test_a_loop_back_needs_a_wire_each_way() -> None:
    (found,) = faults((H, "baud = 4800", "baud = 4800\nloop_back = true"))
    assert "loop_back: needs one talk each way" in found.text


def test_another_pattern_is_another_link() -> None:
    """So the line is to be listened to again, after the profile was edited."""
    old = sample(*with_protocol())
    new = sample(*with_protocol(PROTOCOL.replace("BATT", "WIND")))
    (change,) = difference(old, new).of("link")
    assert change.name == "position"
    assert change.matters
    assert difference(old, sample(*with_protocol())).of("link") == ()


def test_what_the_readme_shows_is_right() -> None:
    text = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^    \[\[protocols\]\].*?(?=^$)", text, re.DOTALL | re.MULTILINE)
    harness = sample(*with_protocol(textwrap.dedent(block) + "\n", "winch"))
    assert [protocol.name for protocol in harness.protocols] == ["winch"]
