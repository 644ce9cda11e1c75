"""Tables of separated values: rows with places, and what is wrong in them."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.harness.reading.csv_text import read_table


def texts(text: str) -> list[dict[str, str]]:
    rows, faults = read_table("t.csv", text, ("a", "b"), ("c",))
    assert faults == []
    return [row.texts for row in rows]


def wrong(text: str) -> list[tuple[int | None, int | None, str, str]]:
    _, faults = read_table("t.csv", text, ("a", "b"), ("c",))
    return [(fault.place.line, fault.place.column, fault.text, fault.hint) for fault in faults]


@pytest.mark.parametrize(
    "text",
    [
        "a,b\n1,2\n",
        "a,b\r\n1,2\r\n",
        "a,b\r1,2\r",
        "\ufeffa,b\n1,2",
        "a;b\n1;2\n",
        "a\tb\n1\t2\n",
        " A , b \n 1 , 2 \n",
        '"a","b"\n"1","2"\n',
        "# comment\n\na,b\n  # more\n1,2\n\n",
        'a,b\n"# a comment, quoted by a spreadsheet",\n1,2\n',
        "a,b,,\n1,2,,\n,,,\n",
    ],
)
def test_the_same_row_in_many_dresses(text: str) -> None:
    assert texts(text) == [{"a": "1", "b": "2"}]


def test_quoted_fields() -> None:
    assert texts('a,b\n"x, y","say ""so"""\n') == [{"a": "x, y", "b": 'say "so"'}]
    assert texts('a,b\n5" bend,2\n') == [{"a": '5" bend', "b": "2"}]


def test_places_count_characters_from_one() -> None:
    rows, _ = read_table("t.csv", '# c\na,b,c\nüü,  x,"y"\n', ("a", "b"), ("c",))
    assert rows[0].line == 3
    assert rows[0].columns == {"a": 1, "b": 6, "c": 8}


def test_header_faults() -> None:
    assert wrong("") == [(1, 1, "has no header and no rows", "The first line names the columns: a,b.")]
    assert wrong("x,y\n1,2\n")[0][:3] == (1, 1, "is no header that is known: 'x,y'")
    assert [fault[2] for fault in wrong("a,a,b\n")] == ["column 'a' is there twice, first at column 1"]
    assert [fault[:3] for fault in wrong("a,c\n")] == [(1, 4, "column 'b' is missing")]
    assert [fault[:3] for fault in wrong("a,b,bb\n")] == [(1, 5, "unknown column 'bb'")]
    assert wrong("a,b,bb\n")[0][3] == "Did you mean 'b'?"
    assert [fault[2] for fault in wrong("a,,b\n")] == ["a column has no name"]


def test_row_faults() -> None:
    assert wrong("a,b\n1\n1,2,3\n")[0][:3] == (2, 1, "row has 1 fields, the header 2")
    assert wrong("a,b\n1\n1,2,3\n")[1][:3] == (3, 5, "row has 3 fields, the header 2")
    assert wrong('a,b\n1,"2\n3,4\n')[0][:3] == (2, 3, "a quote is never closed")
    assert wrong('a,b\n1,"2" x\n')[0][:3] == (2, 6, "text after the closing quote: 'x'")
    assert wrong('a,b\n1,"two\nlines"\n3,4\n') == [
        (2, 3, "a quoted field goes over several lines", "Take the line break out of the cell.")
    ]
    assert wrong("a,b\n1," + "x" * 3000)[0][2] == "a field is 3000 characters long"


def test_a_faulty_row_does_not_hide_the_next() -> None:
    rows, faults = read_table("t.csv", "a,b\n1\n3,4\n5,6,7\n8,9\n", ("a", "b"))
    assert [row.line for row in rows] == [3, 5]
    assert [fault.place.line for fault in faults] == [2, 4]


@given(st.lists(st.lists(st.text(alphabet=' ab,;"ü', max_size=6), min_size=2, max_size=2), max_size=5))
@settings(max_examples=100)
def test_reads_what_the_standard_library_writes(table: list[list[str]]) -> None:
    # reference: the standard library's csv writer
    sink = io.StringIO()
    csv.writer(sink).writerows([["a", "b"], *table])
    rows, faults = read_table("t.csv", sink.getvalue(), ("a", "b"))
    assert faults == []
    wanted = [[cell.strip() for cell in row] for row in table]
    assert [list(row.texts.values()) for row in rows] == [row for row in wanted if any(row)]


@given(st.text(max_size=120))
@settings(max_examples=100)
def test_any_text_gives_rows_or_faults(text: str) -> None:
    for head in ("", "a,b\n"):
        rows, faults = read_table("t.csv", head + text, ("a", "b"))
        assert all(set(row.texts) <= {"a", "b"} or faults for row in rows)
        assert all(fault.place.line and fault.place.column for fault in faults)
