"""NMEA 0183 sentences: published ones, published wrong ones, and garbage in any cut."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.nmea import SentenceResult, checksum, judge_sentence

PUBLISHED = [
    # copy of gpsinformation.org/dale
    ("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", "GPGGA"),
    # public test files
    ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", "GPRMC"),
    ("$GPRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*70", "GPRMC"),
    ("$GPGLL,4916.45,N,12311.12,W,225444,A,*1D", "GPGLL"),
    ("$GPZDA,201530.00,04,07,2002,00,00*60", "GPZDA"),
    ("$HCHDG,101.1,,,7.1,W*3C", "HCHDG"),
    ("$GPGSA,A,3,01,20,19,13,,,,,,,,,40.4,24.4,32.2*0A", "GPGSA"),
    # Univ. Washington CSE466 page
    ("$GPRMC,175741,A,4751.698,N,12209.774,W,000.0,360.0,191100,019.5,E*69", "GPRMC"),
    ("$GPRMB,A,,,,,,,,,,,,V*71", "GPRMB"),
    ("$GPGSV,3,3,11,31,21,230,27,42,51,128,37,50,46,122,39*4D", "GPGSV"),
    ("$GPBOD,,T,,M,,*47", "GPBOD"),
]
# published with a checksum that is wrong, and the right value (re-computed with an independent script)
PUBLISHED_WRONG = [
    ("$GPAAM,A,A,0.10,N,WPTNME*43", 0x32),
    ("$HEHDT,178.3,T*1E", 0x22),
    ("$GPBOD,099.3,T,105.6,M,POINTB,*01", 0x48),
    ("$GPVTG,309.62,T, ,M,0.13,N,0.2,K*6E", 0x4E),
]


def tally_of(data: bytes, protocol: str = "nmea0183") -> LineTally:
    tally = LineTally(protocol)
    tally.feed(data)
    tally.flush()
    return tally


def counts(tally: LineTally) -> tuple[int, int, int, int]:
    return tally.good, tally.bad_checksum, tally.no_checksum, tally.other


@pytest.mark.parametrize(("text", "kind"), PUBLISHED)
def test_published_sentences_are_good(text: str, kind: str) -> None:
    sentence = judge_sentence(text.encode())
    assert sentence.result is SentenceResult.GOOD
    assert sentence.type == kind
    assert len(text) + 2 <= 82  # the longest a sentence may be, from memory of the standard


@pytest.mark.parametrize(("text", "right"), PUBLISHED_WRONG)
def test_published_wrong_sentences_are_bad(text: str, right: int) -> None:
    assert judge_sentence(text.encode()).result is SentenceResult.BAD_CHECKSUM
    body = text[1 : text.index("*")]
    assert checksum(body.encode()) == right
    assert judge_sentence(f"${body}*{right:02X}".encode()).result is SentenceResult.GOOD


def test_the_wrong_one_is_right_without_its_blank() -> None:
    # the published *6E is right once the blank is taken out
    assert judge_sentence(b"$GPVTG,309.62,T,,M,0.13,N,0.2,K*6E").result is SentenceResult.GOOD


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", (0, 0, 0, 0)),
        (b"\r\n\r\n  \r\n\n", (0, 0, 0, 0)),
        (b"$GPBOD,,T,,M,,*47\r\n", (1, 0, 0, 0)),
        (b"$GPBOD,,T,,M,,*47\n$GPBOD,,T,,M,,*47\r", (2, 0, 0, 0)),
        (b"$GPBOD,,T,,M,,*47", (1, 0, 0, 0)),
        (b"  $GPBOD,,T,,M,,*47  \r\n", (1, 0, 0, 0)),
        (b"$GPBOD,,T,,M,,\r\n", (0, 0, 1, 0)),
        (b"$GPBOD,,T,,M,,*4\r\n", (0, 1, 0, 0)),
        (b"$GPBOD,,T,,M,,*4G\r\n", (0, 1, 0, 0)),
        (b"$GPBOD,,T,,M,,*4a\r\n", (0, 1, 0, 0)),
        (b"$HCHDG,101.1,,,7.1,W*3c\r\n", (1, 0, 0, 0)),
        (b"# a comment with $GPBOD,,T,,M,,*47\r\n", (0, 0, 0, 1)),
        (b"hello\r\n", (0, 0, 0, 1)),
        (b"noise$GPBOD,,T,,M,,*47\r\n", (1, 0, 0, 1)),
        (b"$GPBO$GPBOD,,T,,M,,*47\r\n", (1, 0, 0, 1)),
        (b"$GPBOD,,T,,M,,*47$GPBOD,,T,,M,,*47\r\n", (2, 0, 0, 0)),
        (b"$\r\n$1\r\n$gp\r\n$ABC DEF\r\n", (0, 0, 0, 4)),
        (b"$GPBOD,\xff,T*00\r\n", (0, 1, 0, 0)),
        (b"$GPBOD,\xff,T\r\n", (0, 0, 0, 1)),
        (b"\xff\xfe\x00\x81" * 10, (0, 0, 0, 1)),
        (b"x" * 5000 + b"\r\n$GPBOD,,T,,M,,*47\r\n", (1, 0, 0, 1)),
        (b"$" * 3000 + b"\r\n", (0, 0, 0, 1)),
        (b"$" * 900 + b"\r\n", (0, 0, 0, 900)),
        (b"\\g:1-2-73874*6C\\$GPBOD,,T,,M,,*47\r\n", (1, 0, 0, 0)),
    ],
)
def test_what_is_counted(data: bytes, expected: tuple[int, int, int, int]) -> None:
    assert counts(tally_of(data)) == expected


def test_encapsulated_and_makers_sentences() -> None:
    data = b""
    for body in (b"!AIVDM,1,1,,A,14eG;o@034o8sd<L9i:a;WF>062D,0", b"$PXYZW,1,2"):
        data += body + b"*%02X\r\n" % checksum(body[1:])
    tally = tally_of(data)
    assert counts(tally) == (2, 0, 0, 0)
    assert {kind: entry.count for kind, entry in tally.types.items()} == {"AIVDM": 1, "PXYZW": 1}


def test_types_count_every_sentence_and_how_many_are_sound() -> None:
    tally = tally_of(b"$GPBOD,,T,,M,,*47\r\n$GPBOD,,T,,M,,\r\n$GPBOD,,T,,M,,*00\r\n")
    assert counts(tally) == (1, 1, 1, 0)
    assert (tally.types["GPBOD"].count, tally.types["GPBOD"].sound) == (3, 2)


def test_a_longer_sentence_is_judged_and_noted() -> None:
    body = b"GPTXT," + b"A" * 100
    tally = tally_of(b"$%s*%02X\r\n" % (body, checksum(body)))
    assert counts(tally) == (1, 0, 0, 0)
    assert tally.over_long == 1


PIECES = st.sampled_from(
    [
        b"$GPBOD,,T,,M,,*47\r\n",
        b"$GPBOD,,T,,M,,*00\r\n",
        b"$GPBOD,1\r\n",
        b"# x\n",
        b"\r",
        b"\n",
        b"$",
        b"!",
        b"*4",
        b"\xff\x00",
    ]
)
STREAMS = st.one_of(st.binary(max_size=200), st.lists(PIECES, max_size=12).map(b"".join))


@settings(max_examples=100, deadline=None)
@given(STREAMS, st.lists(st.integers(0, 200), max_size=8), st.sampled_from(["nmea0183", "text"]))
def test_any_bytes_in_any_cut_count_the_same(data: bytes, places: list[int], protocol: str) -> None:
    at_once = tally_of(data, protocol)
    piecewise = LineTally(protocol)
    edges = sorted(min(place, len(data)) for place in places)
    for start, end in zip([0, *edges], [*edges, len(data)], strict=True):
        piecewise.feed(data[start:end])
    piecewise.flush()
    assert counts(piecewise) == counts(at_once)
    assert piecewise.bytes == at_once.bytes == len(data)
    assert {k: t.count for k, t in piecewise.types.items()} == {k: t.count for k, t in at_once.types.items()}
    assert piecewise.printable_share == at_once.printable_share


def test_text_lines() -> None:
    tally = tally_of(b"DEPTH 12.4 m\r\nDEPTH 12.5 m\nTEMP;8.1\r\n\r\n\x80\x81garbled\nLAST", "text")
    assert counts(tally) == (0, 0, 4, 1)
    assert {kind: entry.count for kind, entry in tally.types.items()} == {"DEPTH": 2, "TEMP": 1, "LAST": 1}
    assert tally.printable_share == pytest.approx(1 - 2 / tally.bytes)
    assert tally.understood == 4


def test_garbage_words_do_not_pile_up() -> None:
    tally = tally_of(b"".join(b"w%d x\n" % k for k in range(3000)), "text")
    assert len(tally.types) == 1000
    assert tally.other == 2000


def test_types_carry_the_stamps_of_their_chunks() -> None:
    tally = LineTally("text")
    tally.feed(b"DEPTH 1\nDEP", 10)
    tally.feed(b"TH 2\n", 20)
    assert (tally.types["DEPTH"].first_ns, tally.types["DEPTH"].last_ns) == (10, 20)
    assert (tally.first_ns, tally.last_ns) == (10, 20)


def test_an_unknown_protocol_is_refused() -> None:
    with pytest.raises(ValueError, match="no line protocol"):
        LineTally("morse")
