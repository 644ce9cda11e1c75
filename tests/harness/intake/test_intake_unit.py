"""Unit tables under any headings become a unit type file, and read back the same unit type."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_tables import mapped, sheet_of
from sample_profile import FILES
from strategies import garbage

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.intake.read_cells import Ways
from benchcheck.harness.intake.sheet import Cell
from benchcheck.harness.intake.take_unit import MappedTable, UnitTaken, take_unit
from benchcheck.harness.intake.unit_text import parts_of, unit_text
from benchcheck.harness.model import UnitType
from benchcheck.harness.reading.read_unit import UnitFile, read_unit
from benchcheck.words.errors import FileFault

SHIPPED = sorted((Path(__file__).parents[3] / "profiles" / "units").glob("*.toml"))
LOG = [
    ["Plug", "Pin", "Signal name", "Function", "Need", "Voltage", "Load (mA)", "Protocol"],
    ["J1", 1.0, "12V IN", "PWR", None, 12.0, 1000.0, None],
    ["J1", 9.0, None, "GND", "yes", None, None, None],
    ["J1", 4.0, None, "CAN-H", None, None, None, None],
    ["J1", 5.0, None, "CAN-L", None, None, None, None],
    ["J1", 6.0, None, "TX", "optional", None, None, "text"],
    ["J1", 10.0, None, "jumper", None, None, None, None],
    ["J1", 11.0, None, "jumper", "NC", None, None, None],
]
CONNECTORS = [["Connector", "Family", "Gender"], ["J1", "dsub15", "female"]]
PATHS = [
    ["Kind of path", "A", "B", "Resistance (kohm)", "Enabled by"],
    ["Terminator", "J1-4", "J1.5", 0.12, "J1-10, J1-11"],
]


def tables(**rows: list[list[Cell]]) -> dict[str, MappedTable]:
    found, wrong = any_tables(**rows)
    assert wrong == []
    return found


def any_tables(**rows: list[list[Cell]]) -> tuple[dict[str, MappedTable], list[FileFault]]:
    found = {}
    wrong = []
    for name, cells in rows.items():
        kind = f"unit {name}"
        sheet = sheet_of(cells, name)
        header, mapping, faults, _ = mapped(sheet, kind)
        wrong += faults
        found[kind] = MappedTable(sheet, header, mapping)
    return found, wrong


def unit_of(taken: UnitTaken) -> UnitType:
    assert taken.all_faults == [], [str(fault) for fault in taken.all_faults]
    unit, faults = read_unit("log.toml", "log", taken.text.text)
    assert faults == []
    assert unit is not None
    return unit.type


def test_three_sheets_become_a_unit_type() -> None:
    taken = take_unit(
        "log.toml", "log", tables(contacts=LOG, connectors=CONNECTORS, paths=PATHS), Ways(), title="Logger"
    )  # type: ignore[arg-type]
    unit = unit_of(taken)
    assert (unit.title, dict(unit.connectors)) == ("Logger", {"J1": ("dsub15", "socket")})
    contacts = [(c.contact, c.name, c.role.value, c.need.value, c.feed_v, c.load_a, c.protocol) for c in unit.contacts]
    assert contacts[0] == ("1", "12V IN", "power", "needed", 12.0, 1.0, "")
    assert [entry[2] for entry in contacts] == ["power", "ground", "can_h", "can_l", "rs232_tx", "bridge", "bridge"]
    assert [entry[3] for entry in contacts][4:] == ["optional", "needed", "unused"]
    (path,) = unit.paths
    assert (path.kind.value, path.a, path.b, path.ohm, path.enabled_by) == (
        "terminator",
        "J1-4",
        "J1-5",
        120.0,
        ("J1-10", "J1-11"),
    )


def test_the_connector_can_be_said_and_what_no_table_says_is_kept_from_the_old_file() -> None:
    contacts = [["Pin", "Function"], ["J1-1", "PWR"], ["9", "GND"]]
    taken = take_unit("log.toml", "log", tables(contacts=contacts), Ways(), connectors={"J1": "dsub15/socket"})  # type: ignore[arg-type]
    assert [contact.connector for contact in unit_of(taken).contacts] == ["J1", "J1"]
    old, _ = read_unit("log.toml", "log", FILES["units/log.toml"])
    unit = unit_of(take_unit("log.toml", "log", tables(contacts=LOG), Ways(), old=old))  # type: ignore[arg-type]
    assert old is not None
    assert (unit.title, unit.paths, unit.boot_s) == (old.type.title, old.type.paths, old.type.boot_s)
    taken = take_unit("log.toml", "log", tables(contacts=LOG), Ways())  # type: ignore[arg-type]
    assert [fault.text for fault in taken.all_faults] == ["nothing says what kind of connector 'J1' is"]


def test_faults_stand_at_the_cells_of_the_tables() -> None:
    contacts = [
        *LOG[:2],
        ["J1", 99.0, None, "GND"],
        ["J1", 1.0, None, "flux"],
        [None, 3.0, None, "GND"],
        ["J1", 1.0, None, "GND", None, -5.0],
    ]
    taken = take_unit("log.toml", "log", tables(contacts=contacts, connectors=CONNECTORS), Ways())  # type: ignore[arg-type]
    assert [(fault.place.line, fault.place.column) for fault in taken.all_faults] == [(4, 4), (5, 1)]
    right = [*contacts[:3], *contacts[5:]]
    taken = take_unit("log.toml", "log", tables(contacts=right, connectors=CONNECTORS), Ways())  # type: ignore[arg-type]
    found = [(fault.place.line, fault.place.column, fault.text) for fault in taken.all_faults]
    assert (3, 2, "column B 'Pin': contact '99' is not in J1") in found
    assert any((row, column) == (4, 6) and "too small" in text for row, column, text in found)
    paths = [PATHS[0], ["loop", "J1-4", "J1-5", None, None], ["terminator", "J1-4", "J1-99", 0.12, "J1-10"]]
    taken = take_unit("log.toml", "log", tables(contacts=LOG, connectors=CONNECTORS, paths=paths), Ways())  # type: ignore[arg-type]
    assert [(fault.place.line, fault.place.column) for fault in taken.all_faults] == [(3, 5)]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_unit_type_that_comes_along_is_written_and_read_the_same(path: Path) -> None:
    file, faults = read_unit(path.name, path.stem, path.read_text(encoding="utf-8"))
    assert file is not None, faults
    text = unit_text(parts_of(file.type, file.rows))
    again, faults = read_unit(path.name, path.stem, text.text)
    assert again is not None, faults
    assert again == file
    assert all(len(line) < 300 for line in text.text.splitlines())


@st.composite
def units(draw: st.DrawFn) -> UnitFile:
    names = draw(st.lists(st.sampled_from(["J1", "J2", "X9", "PWR"]), min_size=1, max_size=3, unique=True))
    family = draw(st.sampled_from(["dsub9", "hd15", "dsub25"]))
    lines = ["schema = 1", 'title = "x"']
    contacts = []
    for name in names:
        lines.append(f'[[connectors]]\nname = "{name}"\nfamily = "{family}"\ngender = "pin"')
        contacts += [
            (name, pin)
            for pin in draw(st.lists(st.sampled_from(FAMILIES[family].contacts), min_size=1, max_size=5, unique=True))
        ]
    for name, pin in contacts:
        role = draw(st.sampled_from(["power", "ground", "signal", "can_h", "coax"]))
        need = draw(st.sampled_from(["needed", "optional", "unused"]))
        load = draw(st.floats(0, 200))
        lines.append(
            f'[[contacts]]\nconnector = "{name}"\ncontact = "{pin}"\nrole = "{role}"\nneed = "{need}"\nload_a = {load!r}'
        )
    unit, faults = read_unit("u.toml", "u", "\n".join(lines))
    assert unit is not None, faults
    return unit


@given(units())
@settings(max_examples=40)
def test_any_unit_type_is_written_and_read_the_same(file: UnitFile) -> None:
    again, faults = read_unit("u.toml", "u", unit_text(parts_of(file.type, file.rows)).text)
    assert faults == []
    assert again == file


cells = st.one_of(garbage, st.none(), st.floats(-10, 1e9), st.sampled_from([cell for row in LOG for cell in row]))


@given(st.lists(st.lists(cells, max_size=8), max_size=4))
@settings(max_examples=30)
def test_any_table_is_a_unit_or_lists_its_faults(rows: list[list[Cell]]) -> None:
    found, wrong = any_tables(contacts=[LOG[0], *LOG[1:3], *rows], connectors=CONNECTORS)  # type: ignore[list-item, arg-type]
    if wrong:
        return
    taken = take_unit("log.toml", "log", found, Ways())
    if not taken.all_faults:
        unit_of(taken)
    account = taken.accounts["unit contacts"]
    said = {row.row.number for row in account.rows} | set(account.refused) | {row.row for row in account.passed_over}
    for row in account.sheet.rows[1:]:
        assert row.number in said or not any(str(cell).strip() for cell in row.cells if cell is not None)
