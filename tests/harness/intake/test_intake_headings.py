"""Headings in words of the trade, and where they stand."""

from __future__ import annotations

import pytest
from intake_tables import HEAD, mapped, sheet_of

from benchcheck.harness.intake.find_header import Asked, find_header
from benchcheck.harness.intake.headings import guesses
from benchcheck.harness.intake.mapping import MappedColumn, TableMapping
from benchcheck.words.errors import FileFault


@pytest.mark.parametrize(
    ("heading", "target", "unit"),
    [
        # common practice, no source: how lists of wires head their columns
        ("wire", "wire", ""),
        ("Wire No.", "wire", ""),
        ("WIRE NUMBERS", "wire", ""),
        ("wire_id", "wire", ""),
        ("Conductor", "wire", ""),
        ("From", "from", ""),
        ("Near end", "from", ""),
        ("FROM CONN", "from.connector", ""),
        ("From connector", "from.connector", ""),
        ("FromPin", "from.contact", ""),
        ("from-terminal", "from.contact", ""),
        ("Pin A", "from.contact", ""),
        ("End 1 connector", "from.connector", ""),
        ("Connector (B)", "to.connector", ""),
        ("Far end", "to", ""),
        ("Far end pin no.", "to.contact", ""),
        ("Destination", "to", ""),
        ("Gauge", "awg", ""),
        ("AWG", "awg", ""),
        ("Wire size (AWG)", "awg", ""),
        ("length (mm)", "length_m", "mm"),
        ("Length [ft]", "length_m", "ft"),
        ("length ft", "length_m", "ft"),
        ("Cut length in inches", "length_m", "in"),
        ("LENGTH/CM", "length_m", "cm"),
        ("length_m", "length_m", "m"),
        ("Length", "length_m", ""),
        ("Colour", "colour", ""),
        ("Wire color", "colour", ""),
        ("Screen", "shield", ""),
        ("Cable no", "cable", ""),
        ("Remarks", "note", ""),
        ("Function", "role", ""),
        ("Signal", "role", ""),
    ],
)
def test_headings_of_runs(heading: str, target: str, unit: str) -> None:
    found = guesses("runs", heading)
    assert found, heading
    assert (found[0].target, found[0].unit) == (target, unit)


@pytest.mark.parametrize("heading", ["", "Qty", "Part number", "Drawing", "A", "B", "1", "left", "Weight (kg)"])
def test_other_headings_are_not_taken_for_any(heading: str) -> None:
    assert guesses("runs", heading) == []


@pytest.mark.parametrize(
    ("kind", "heading", "target", "unit"),
    [
        ("unit contacts", "Pin", "contact", ""),
        ("unit contacts", "Signal name", "name", ""),
        ("unit contacts", "Load (mA)", "load_a", "mA"),
        ("unit contacts", "Voltage", "feed_v", ""),
        ("unit paths", "Resistance (kohm)", "ohm", "kohm"),
        ("unit connectors", "Connector type", "family", ""),
    ],
)
def test_headings_of_units(kind: str, heading: str, target: str, unit: str) -> None:
    assert (guesses(kind, heading)[0].target, guesses(kind, heading)[0].unit) == (target, unit)


def targets(mapping: TableMapping) -> list[str]:
    return [column.target for column in mapping.columns]


def test_a_doubtful_heading_counts_only_where_its_cells_bear_it_out() -> None:
    rows = [["Wire", "From", "To", "Signal", "Type"]]
    power = [*rows, ["W1", "P1-1", "P2-1", "24V IN", "PWR"], ["W2", "P1-2", "P2-2", "FIX", "GND"]]
    assert targets(mapped(sheet_of(power))[1]) == ["wire", "from", "to", "", "role"]
    signal = [*rows, ["W1", "P1-1", "P2-1", "Power", "tinned"], ["W2", "P1-2", "P2-2", "Ground", "tinned"]]
    assert targets(mapped(sheet_of(signal))[1]) == ["wire", "from", "to", "role", ""]


def test_from_beside_from_pin_is_the_connector() -> None:
    _, mapping, faults, _ = mapped(sheet_of([["Wire", "From", "Pin", "From pin", "To conn", "To pin", "Role"]]))
    assert targets(mapping) == ["wire", "from.connector", "", "from.contact", "to.connector", "to.contact", "role"]
    assert faults == []
    # and a connector with no contact beside it holds the whole
    _, mapping, _, _ = mapped(sheet_of([["Wire", "From connector", "To connector", "Role"]]))
    assert targets(mapping) == ["wire", "from", "to", "role"]


def test_headings_in_a_later_row_and_in_two_rows() -> None:
    header, mapping, _, _ = mapped(sheet_of([["Bay wiring"], [], ["rev", "C"], HEAD, ["W1"]]))
    assert header.row == 4
    assert targets(mapping) == ["wire", "from", "to", "awg", "length_m", "role"]
    two = [["Wire", "From", None, "To", None, "Role"], [None, "Conn", "Pin", "Conn", "Pin", None], ["W1", "P1", "1"]]
    header, mapping, _, _ = mapped(sheet_of(two))
    assert header.row == 2
    assert targets(mapping) == ["wire", "from.connector", "from.contact", "to.connector", "to.contact", "role"]
    assert mapping.columns[1].heading == "From Conn"


def test_two_headings_for_one_thing_are_a_fault() -> None:
    _, _, faults, _ = mapped(sheet_of([["Wire no", "Wire id", "From", "To", "Role"]]))
    assert [fault.text for fault in faults] == ["columns A 'Wire no' and B 'Wire id' may both be `wire`"]
    assert "--column wire=" in faults[0].hint
    _, mapping, faults, _ = mapped(sheet_of([["Wire no", "Wire id", "From", "To", "Role"]]), columns={"wire": "B"})
    assert faults == []
    assert targets(mapping) == ["", "wire", "from", "to", "role"]


def test_what_is_not_found_is_said() -> None:
    _, _, faults, _ = mapped(sheet_of([["Wire", "Von", "To", "Role"]]))
    assert [fault.text for fault in faults] == ["no column is known to be `from`"]
    assert faults[0].hint == "Say which: --column from=HEADING. Not used yet: 'Von'."
    assert mapped(sheet_of([["Wire", "Von", "To"]]), columns={"from": "von"}, fixed={"role": "signal"})[2] == []
    wrong = mapped(sheet_of([HEAD]), columns={"form": "From", "to": "Tow"})[2]
    assert [fault.text for fault in wrong] == ["--column: unknown column 'form'", "--column to: no heading 'Tow'"]
    assert "Did you mean 'from'?" in wrong[0].hint
    assert "Did you mean 'To'?" in wrong[1].hint


def test_a_sheet_without_headings() -> None:
    fault = find_header("runs", sheet_of([["x", "y"], ["1", "2"]]), Asked({}), None)
    assert isinstance(fault, FileFault)
    assert "--header-row" in fault.hint
    assert isinstance(find_header("runs", sheet_of([]), Asked({}), None), FileFault)


def test_a_remembered_mapping_is_found_again_in_another_order() -> None:
    _, first, _, _ = mapped(
        sheet_of([["Nr", "Von", "Nach", "Role", "Qty"]]), columns={"wire": "Nr", "from": "Von", "to": "Nach"}
    )
    sheet = sheet_of([["Qty", "Nach", "Von", "Nr", "Role"], ["1", "P2-1", "P1-1", "W1", "PWR"]])
    _, again, faults, notes = mapped(sheet, known=first)
    assert (targets(again), faults, notes) == (["", "to", "from", "wire", "role"], [], [])


def test_a_mapping_that_fits_no_more_says_what_is_gone_and_what_is_new() -> None:
    known = TableMapping("runs", tuple(MappedColumn(h, t) for h, t in (("Wire", "wire"), ("Near end", "from"), ("To", "to"), ("Role", "role"), ("Qty", ""))))  # fmt: skip
    sheet = sheet_of([["Wire", "Near side", "To", "Role"], ["W1", "P1-1", "P2-1", "power"]])
    _, _, faults, notes = mapped(sheet, known=known)
    assert [fault.text for fault in faults] == ["heading 'Near end' (from) is gone"]
    assert "New: 'Near side'" in faults[0].hint
    assert "column 'Qty' is gone from the table; what it held goes with it" in notes
    assert "column 'Near side' is new; it is kept as it is" in notes
    _, again, faults, _ = mapped(sheet, known=known, columns={"from": "Near side"})
    assert (targets(again), faults) == (["wire", "from", "to", "role"], [])
