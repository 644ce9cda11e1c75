"""Any profile either loads or lists its faults; never a raw exception, never a row dropped in silence."""

from __future__ import annotations

from collections.abc import Mapping

from hypothesis import given, settings
from hypothesis import strategies as st
from sample_profile import DATABASE, FILES, changed
from strategies import HEADER, garbage, mutilated, profile_files

from benchcheck.harness.model import Harness
from benchcheck.harness.reading.contact_book import AnyContact
from benchcheck.harness.reading.read_harness import read_harness
from benchcheck.harness.reading.read_pins import read_pins
from benchcheck.harness.review.rule import review
from benchcheck.words.errors import FaultyFiles


def load(files: Mapping[str, bytes | str]) -> Harness | FaultyFiles:
    try:
        harness = read_harness("drawn", files, databases={"net.dbc": DATABASE})
    except FaultyFiles as error:
        faulty = error
    else:
        review(harness)  # whatever loads can be reviewed
        return harness
    assert faulty.faults
    for fault in faulty.faults:
        assert fault.text.isprintable(), fault
        assert fault.hint.isprintable(), fault
    return faulty


@given(profile_files())
@settings(max_examples=40, deadline=None)
def test_a_good_table_loads_whole(files: dict[str, str]) -> None:
    harness = load(files)
    assert isinstance(harness, Harness), harness
    rows = files["pins.csv"].splitlines()[1:]
    assert len(harness.runs) == len(rows)
    assert [f"{run.wire},{run.a},{run.b}," for run in harness.runs] == [
        ",".join(row.split(",")[:3]) + "," for row in rows
    ]
    assert all(run.place.line == number for number, run in enumerate(harness.runs, 2))


@given(mutilated())
@settings(max_examples=150, deadline=None)
def test_a_mutilated_profile_loads_or_lists_its_faults(files: dict[str, bytes | str]) -> None:
    load(files)


@given(st.lists(st.lists(garbage, max_size=11), max_size=6))
@settings(max_examples=80, deadline=None)
def test_a_table_of_garbage_lists_its_faults(rows: list[list[str]]) -> None:
    load({**FILES, "pins.csv": HEADER + "\n" + "\n".join(",".join(row) for row in rows)})


@given(st.text(max_size=200), st.sampled_from(sorted(FILES)))
@settings(max_examples=60, deadline=None)
def test_any_text_in_place_of_a_file(text: str, name: str) -> None:
    load({**FILES, name: text})


@given(st.lists(st.sampled_from(FILES["pins.csv"].splitlines()[1:]), min_size=1, max_size=5), st.data())
@settings(max_examples=60, deadline=None)
def test_no_row_is_dropped_in_silence(rows: list[str], data: st.DataObject) -> None:
    broken = [
        ",".join(data.draw(garbage) if data.draw(st.integers(0, 5)) == 0 else cell for cell in row.split(","))
        .replace("\n", " ")
        .replace("\r", " ")
        for row in rows
    ]
    runs, faults = read_pins("pins.csv", "\n".join([HEADER, *broken]), AnyContact())
    kept = {run.place.line for run in runs}
    named = {fault.place.line for fault in faults}
    for number, row in enumerate(broken, 2):
        is_empty = not row.replace(",", "").strip() or row.strip().startswith(("#", '"#'))
        assert is_empty or number in kept or number in named or '"' in "".join(broken), (number, row)


@given(st.integers(0, len(FILES["pins.csv"])))
@settings(max_examples=40, deadline=None)
def test_a_table_cut_off_anywhere(cut: int) -> None:
    load({**changed(), "pins.csv": FILES["pins.csv"][:cut]})
