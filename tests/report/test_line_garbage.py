"""Random and hostile bytes into everything that reads serial lines: nothing escapes, and nothing is shown as it came.

The streams are drawn from a fixed seed: 300 of them by default, all 10,000 with `pytest -m long`.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator

import pytest
from judging import step_of, volts
from report_bench import Job

from benchcheck.bench.lines.framing_marks import MarkDecoder
from benchcheck.bench.port import printable
from benchcheck.checks.kind import all_kinds
from benchcheck.cli import survey_text as survey
from benchcheck.harness.line_protocol import Checksum, ChecksumKind, Crc16, TextProtocol
from benchcheck.harness.model import Harness, Link, Talk
from benchcheck.jobs.bodies import reading_body
from benchcheck.jobs.listening.heard import line_reading
from benchcheck.report.build import build_report
from benchcheck.report.html import report_html
from benchcheck.report.json_report import report_text
from benchcheck.traffic.lines.line_speed import Trial, is_garbage, judge_speed, makes_sense
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.protocols import LineProtocol, protocols_of
from benchcheck.traffic.lines.talks import judge_talks
from benchcheck.traffic.summary import line_json
from benchcheck.words.event import EventKind
from benchcheck.words.result import Result

SEED = 61162
OWN = (
    TextProtocol("plain", b"\r\n", r"(LEVEL|BATT) [0-9.]+"),
    TextProtocol("open", b"\n", r"([\x00-\x2b\x2d-\xff]+),[\x00-\xff]*"),  # whatever comes may be a type
    TextProtocol("summed", b";", r"#(\w+),.*", Checksum(ChecksumKind.SUM, b"*", b"#")),
    TextProtocol("checked", b"\r\n", r"([0-9]+)", Checksum(ChecksumKind.CRC16, b" ", b"", Crc16(0x1021, 0xFFFF))),
)
BAY = Harness("bay", "A bay", 20.0, "GND1", {}, (), (), {}, (), (), (), protocols=OWN)
PROTOCOLS = protocols_of(BAY)
HOSTILE = [
    b"<script>alert(1)</script>,1\r\n",
    b"\x1b[2J\x1b]0;owned\x07,\n",
    b"\x9b31m\xe2\x80\xae,txt\r\n",
    b"$GPGGA,<img src=x onerror=alert(1)>*00\r\n",
    b"#\x00\x00,;",
    b";#A,1*9E;",  # 0x41 + 0x2C + 0x31 = 0x9E
    b"{{ 7 * 7 }},{% x %}\n",
    b"$HCHDG,101.1,,,7.1,W*3C\r\n",
    b"LEVEL 1.5\r\n",
    b"123456789 29B1\r\n",
    b"\xff\x00\x00\xff\xff\xff\x00A",
    b"A" * 5000,
    b"%s%n\r\n'; --,\n",
    b"\\x1b,1\n",
]


def streams(first: int, last: int) -> Iterator[tuple[random.Random, bytes]]:
    """Those of these numbers, always the same: pieces that are random, hostile, sound, or sound and spoiled."""
    for number in range(first, last):
        chance = random.Random(SEED * 1_000_003 + number)
        data = bytearray()
        for _ in range(chance.randint(0, 8)):
            piece = bytearray(
                chance.choice(HOSTILE) if chance.random() < 0.6 else chance.randbytes(chance.randint(0, 80))
            )
            for _ in range(chance.choice((0, 0, 1, 3))):
                if piece:
                    piece[chance.randrange(len(piece))] = chance.randrange(256)
            data += piece
        yield chance, bytes(data)


def tally_of(protocol: LineProtocol, chance: random.Random, data: bytes) -> LineTally:
    tally = LineTally(protocol)
    at = 0
    while at < len(data):
        size = chance.randint(1, 60)
        tally.feed(data[at : at + size], at * 1_000_000, framing_errors=chance.choice((None, 0, 3)))
        at += size
    tally.flush()
    return tally


def check_streams(first: int, last: int) -> None:
    for chance, data in streams(first, last):
        decoder = MarkDecoder()
        assert len(decoder.feed(data)) <= len(data)
        for name, protocol in PROTOCOLS.items():
            tally = tally_of(protocol, chance, data)
            assert tally.bytes == len(data)
            lines = tally.good + tally.bad_checksum + tally.no_checksum + tally.other
            assert sum(found.count for found in tally.types.values()) <= lines
            assert all(kind.isascii() and kind.isprintable() for kind in tally.types), tally.types
            talk = Talk("P1-3", "P2-2", "NAV", ("LEVEL", "GPGGA"), 0.01, is_timed=True)
            link = Link("line", name, 4800, (talk,), "P1-5", "P1")
            bay = Harness("bay", "A bay", 20.0, "GND1", {}, (), (), {}, (), (), (link,), protocols=OWN)
            (judged,) = judge_talks(bay, {"line:NAV": tally}, 10.0)
            assert judged.text.isprintable()
            found = judge_speed([Trial(4800, "8N1", tally, 1.0)], 4800, "8N1")
            assert found.text.isprintable()
            assert not (makes_sense(tally) and is_garbage(tally))
            document = json.loads(json.dumps(line_json("tap\x1b", tally), allow_nan=False))
            document["gaps"] = [{**gap, "of_recorder": False} for gap in document["gaps"]]
            for line in survey_text(document):
                assert line.isprintable(), line
            reading = line_reading(link, talk, tally, "a port", "listening")
            verdict = verdict_of(reading)
            assert verdict.isprintable()
            json.dumps(reading.to_json(), allow_nan=False)


def survey_text(line: dict[str, object]) -> list[str]:
    """The part of a survey's text that is about one line."""
    return list(survey._line(line))


def verdict_of(reading: object) -> str:
    measuring = all_kinds()["link_alive"].measure(step_of("link_alive:position:GNSS"))
    next(measuring)
    measuring.send(volts(-7.0))
    try:
        measuring.send(reading)  # type: ignore[arg-type]
    except StopIteration as stop:
        return str(stop.value.verdict.text)
    raise AssertionError("it asks for more")


def test_the_first_300_streams() -> None:
    check_streams(0, 300)


@pytest.mark.long
@pytest.mark.parametrize("part", range(4))
def test_all_10_000_streams(part: int) -> None:
    check_streams(2_500 * part, 2_500 * (part + 1))


def test_the_streams_reach_what_they_should() -> None:
    """They are no test if everything in them is garbage, or nothing."""
    for name, protocol in PROTOCOLS.items():
        sums = [0, 0]
        for chance, data in streams(0, 200):
            tally = tally_of(protocol, chance, data)
            sums[0] += tally.understood
            sums[1] += tally.other
        assert min(sums) > 5, name


def test_raw_bytes_are_shown_escaped() -> None:
    for _, data in streams(0, 300):
        assert printable(data).isascii()
        assert printable(data).isprintable()


def test_a_report_of_hostile_types_holds_none_of_it() -> None:
    """Whatever a line said, the page has no element, no attribute and no unseen character of it."""
    step = step_of("link_alive:position:GNSS")
    pages = []
    for hostile in (False, True):
        job = Job()
        data = b"".join(HOSTILE) * 3 if hostile else b"tame,1\n" * 3
        talk = Talk("P1-3", "P2-2", "NAV")
        reading = line_reading(
            Link("line", "open", 4800, (talk,), "P1-5", "P1"),
            talk,
            tally_of(PROTOCOLS["open"], random.Random(1), data),
            "a port",
            "listening",
        )
        measuring = all_kinds()["link_alive"].measure(step)
        next(measuring)
        measuring.send(volts(-7.0))
        with pytest.raises(StopIteration) as stop:
            measuring.send(reading)
        judged = stop.value.value
        job.add(EventKind.READING, **reading_body(Result(step, judged.reading, judged.verdict)))
        report = build_report(None, None, job.events, generated_utc="2031-05-04", version="0.1")
        assert report.lines
        types = dict(report.lines[0].types)
        assert ("<script>alert(1)</script>" in types) == hostile
        assert report_text(report).replace("\n", "").isprintable()
        pages.append(report_html(report))
    for sign in ("<script>alert", "<img src=x", "\x1b", "\x9b", "\u202e", "\x07"):
        assert sign not in pages[1]
    assert pages[1].count("<script") == pages[0].count("<script")


def test_a_survey_of_hostile_lines_is_printable() -> None:
    lines = []
    for name, protocol in PROTOCOLS.items():
        found = line_json(f"{name}\x1b[2J", tally_of(protocol, random.Random(2), b"".join(HOSTILE) * 2))
        lines.append({**found, "gaps": []})
    for line in lines:
        assert all(text.isprintable() for text in survey_text(line))
