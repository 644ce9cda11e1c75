"""From bytes to text: encodings, binaries, sizes."""

from __future__ import annotations

import pytest

from benchcheck.harness.reading.file_text import LARGEST_BYTES, decode
from benchcheck.words.errors import Place


@pytest.mark.parametrize(
    "data", ["ä,ö".encode(), "ä,ö".encode("utf-8-sig"), "ä,ö".encode("utf-16")], ids=["utf-8", "bom", "utf-16"]
)
def test_unicode(data: bytes) -> None:
    text, faults, notes = decode("t.csv", data)
    assert text == "ä,ö"
    assert faults == []
    assert bool(notes) == data.startswith(b"\xff\xfe")


def test_windows_1252_says_so() -> None:
    data = "a\nblä".encode("cp1252")
    assert decode("t.csv", data, lenient=True) == (
        "a\nblä",
        [],
        ["t.csv is not in UTF-8 (line 2, column 3); read as Windows-1252"],
    )
    text, faults, _ = decode("t.toml", data)
    assert text is None
    assert faults[0].place == Place("t.toml", 2, 3)
    assert "0xE4" in faults[0].text
    assert "UTF-8" in faults[0].hint


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04rest", "workbook"),
        (b"%PDF-1.4", "PDF"),
        (b"wire\0from", "zero bytes"),
        (b"wire\x81\xff", "no UTF-8"),
        (b"\xff\xfea", "no UTF-16"),
        (b"x" * (LARGEST_BYTES + 1), "20 MB large"),
    ],
)
def test_no_text(data: bytes, said: str) -> None:
    text, faults, _ = decode("t.csv", data, lenient=True)
    assert text is None
    assert said in faults[0].text
    assert faults[0].hint
