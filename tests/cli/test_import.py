"""`benchcheck import`, `export` and `template`: the whole way through files."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sample_profile import FILES, PINS
from strategies import profile_files

from benchcheck.cli.main import run
from benchcheck.harness.intake.mapping import MappedColumn, TableMapping
from benchcheck.harness.intake.outward import OutColumn, OutSheet, outward
from benchcheck.harness.intake.template import template_sheets
from benchcheck.profile.load import load_profile
from benchcheck.profile.read_sheets import read_sheets
from benchcheck.profile.write_sheets import sheet_bytes

FT = TableMapping(
    "runs",
    tuple(
        MappedColumn(heading, target, "ft" if target == "length_m" else "")
        for heading, target in (
            ("Remarks", "note"), ("Far end", "to"), ("Near conn", "from.connector"), ("Near pin", "from.contact"), ("Wire no", "wire"),
            ("Function", "role"), ("AWG", "awg"), ("Length in ft", "length_m"), ("Colour", "colour"),
        )
    ),
    words={"role": {"PWR": "power", "Gnd": "ground"}},
)  # fmt: skip
HEADINGS = ("Wire no", "From conn", "From pin", "To conn", "To pin", "Gauge", "Length (ft)", "Function", "Cable", "Screen", "Color", "Remarks", "Drawing")  # fmt: skip
WORDS = {"power": "PWR", "ground": "GND"}


def rows_of(pins: str = PINS) -> list[tuple[str, ...]]:
    rows = []
    for wire, a, b, awg, length, role, *rest in (line.split(",") for line in pins.splitlines()[1:]):
        ends = [part for end in (a, b) for part in end.partition("-")[::2]]
        rows.append((wire, *ends, awg, f"{float(length) / 0.3048:.6f}", WORDS.get(role, role), *rest, f"sheet, {wire}"))
    return rows


def write_table(path: Path, rows: list[tuple[str, ...]] | None = None, headings: tuple[str, ...] = HEADINGS) -> str:
    columns = tuple(OutColumn(heading, number=heading.startswith(("Length", "Gauge"))) for heading in headings)
    path.write_bytes(sheet_bytes(path, [OutSheet("Wiring", columns, tuple(rows_of() if rows is None else rows))]))
    return str(path)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "bay"
    (folder / "units").mkdir(parents=True)
    for name, text in FILES.items():
        if name != "pins.csv":
            (folder / name).write_text(text.replace('network = "net.dbc"\n', ""), encoding="utf-8")
    return folder


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_file())


@pytest.mark.parametrize("suffix", [".xlsx", ".ods", ".csv"])
def test_import_export_import(tmp_path: Path, folder: Path, suffix: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["import", write_table(tmp_path / f"bay{suffix}"), str(folder)]) == 0
    out, err = capsys.readouterr()
    assert out == f"14 rows. Written in {folder}: pins.csv, pins_extra.csv, import.toml.\n"
    assert "G 'Length (ft)' -> length_m (ft)" in err
    assert "kept as they are: 'Drawing'" in err
    assert "'PWR' -> power (4)" in err
    harness = load_profile(folder)
    assert [run.wire for run in harness.runs] == [line.split(",")[0] for line in PINS.splitlines()[1:]]
    lengths = [run.length_m for run in harness.runs]
    assert lengths == pytest.approx([float(line.split(",")[4]) for line in PINS.splitlines()[1:]], abs=1e-6)
    before = {name: (folder / name).read_bytes() for name in names(folder)}

    back = tmp_path / f"back{suffix}"
    assert run(["export", str(folder), str(back)]) == 0
    assert run(["export", str(folder), str(back)]) == 2  # it is there already
    sheet = read_sheets(back, lambda sheet: float("Drawing" in sheet.rows[0].cells))[0][0]
    assert sheet.rows[0].cells == HEADINGS
    assert sheet.rows[1].cells[7] == "PWR"
    capsys.readouterr()
    assert run(["import", str(back), str(folder), "--replace"]) == 0
    assert names(folder) == sorted([*before, "pins.csv.old", "pins_extra.csv.old"])
    for name in ("pins.csv", "pins_extra.csv", "harness.toml", "pins.csv.old"):
        assert (folder / name).read_bytes() == before[name.removesuffix(".old")]


@given(profile_files(), st.sampled_from([".xlsx", ".ods", ".csv"]))
@settings(max_examples=25)
def test_any_harness_goes_out_and_comes_back_through_a_file(files: dict[str, str], suffix: str) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder, table = Path(name), Path(name) / f"t{suffix}"
        for file, text in files.items():
            (folder / file).write_text(text, encoding="utf-8")
        before = load_profile(folder).runs
        sheet, faults, notes = outward(before, FT, "")
        assert (faults, notes) == ([], [])
        table.write_bytes(sheet_bytes(table, [sheet]))
        assert run(["import", str(table), str(folder), "--replace"]) == (0 if before else 2)
        after = load_profile(folder).runs
        assert [replace(one, place=two.place) for one, two in zip(before, after, strict=True)] == list(after)


def test_faults_are_all_listed_and_nothing_is_written(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = rows_of()
    rows[0] = ("W1", "P9", *rows[0][2:])
    rows[3] = ("W4", *rows[3][1:2], "2-Jan", *rows[3][3:])
    before = names(folder)
    table = write_table(tmp_path / "bay.xlsx", rows)
    assert run(["import", table, str(folder)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "nothing was written; the table has 2 faults" in err
    assert "bay.xlsx:2:2: column B 'From conn': from: connector 'P9' is not in harness.toml" in err
    assert "bay.xlsx:5:3: column C 'From pin': '2-Jan' looks like a date" in err
    assert names(folder) == before
    assert run(["import", table, str(folder), "--json"]) == 2
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "benchcheck.error/1"
    assert [(fault["line"], fault["column"]) for fault in document["faults"]] == [(2, 2), (5, 3)]

    assert run(["import", table, str(folder), "--partial"]) == 1
    out, err = capsys.readouterr()
    assert out.startswith("12 rows, 2 refused. Written in")
    assert err.count("refused: ") == 2
    assert len((folder / "pins.csv").read_text(encoding="utf-8").splitlines()) == 13
    refused = list(csv.reader(io.StringIO((folder / "pins_refused.csv").read_text(encoding="utf-8"))))
    assert refused[0] == ["row", "what is wrong", *HEADINGS]
    assert [row[0] for row in refused[1:]] == ["2", "5"]
    assert refused[2][2:5] == ["W4", "P3", "2-Jan"]


def test_a_part_of_which_no_row_is_good_says_so_and_writes_nothing(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "elsewhere.csv"
    table.write_text("wire,from,to,role\nW1,X1-1,X2-1,signal\nW2,X1-2,X2-2,signal\n", encoding="utf-8")
    assert run(["import", str(table), str(folder), "--partial"]) == 2
    err = capsys.readouterr().err
    assert "nothing was written, no row is good; the table has 4 faults" in err
    assert "connector 'X1' is not in harness.toml" in err
    assert names(folder) == ["harness.toml"]


def test_what_comes_next_for_a_folder_without_a_harness(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "new").mkdir()
    table = tmp_path / "runs.csv"
    table.write_text("wire,from,to,role\nW1,P1-1,P2-1,signal\n", encoding="utf-8")
    assert run(["import", str(table), str(tmp_path / "new")]) == 0
    assert "Next: write " in (told := capsys.readouterr().err)
    assert "harness.toml" in told


def test_what_is_there_is_not_replaced_unasked(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "pins.csv").write_text("mine\n", encoding="utf-8")
    table = write_table(tmp_path / "bay.csv")
    assert run(["import", table, str(folder)]) == 2
    assert "--replace" in capsys.readouterr().err
    assert run(["import", table, str(folder), "--dry-run"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("wire,from,to,awg,length_m,role,cable,shield,colour,note\nW1,TB1-2,P1-1,22,1.2")
    assert "Nothing was written" in err
    assert (folder / "pins.csv").read_text(encoding="utf-8") == "mine\n"
    assert names(folder) == ["harness.toml", "pins.csv"]
    assert run(["import", table, str(folder), "--dry-run", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "benchcheck.import/1"
    assert (document["rows"], document["written"], document["refused"]) == (14, [], [])
    assert document["pins"].startswith("wire,from,to")
    assert run(["import", table, str(folder), "--replace", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["written"]) == 3
    assert (folder / "pins.csv.old").read_text(encoding="utf-8") == "mine\n"


def test_columns_can_be_said_and_are_remembered(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    headings = ("Nr", "Von", "Nach", "Länge")
    rows = [("W1", "TB1-2", "P1-1", "1,5"), ("W3", "P1-2", "GND1", "0,25 m")]
    table = write_table(tmp_path / "bay.csv", rows, headings)
    said = ["--column", "wire=Nr", "--column", "from=Von", "--column", "to=C", "--column", "length_m=Länge"]
    assert run(["import", table, str(folder), *said]) == 2
    err = capsys.readouterr().err
    assert "no column is known to be `role`" in err
    said += ["--fixed", "role=power"]
    assert run(["import", table, str(folder), *said]) == 2
    assert "--length-unit" in capsys.readouterr().err
    assert run(["import", table, str(folder), *said, "--length-unit", "m"]) == 0
    assert [(run.wire, run.length_m) for run in load_profile(folder).runs] == [("W1", 1.5), ("W3", 0.25)]
    assert run(["import", table, str(folder), "--replace"]) == 0  # nothing need be said again
    capsys.readouterr()
    table = write_table(tmp_path / "new.csv", rows, ("Nr", "Anfang", "Nach", "Länge"))
    assert run(["import", table, str(folder), "--replace"]) == 2
    assert "heading 'Von' (from) is gone" in capsys.readouterr().err
    assert run(["import", table, str(folder), "--replace", "--column", "from=Anfang"]) == 0
    assert "Anfang" in (folder / "import.toml").read_text(encoding="utf-8")


def test_words_can_be_said(tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = write_table(
        tmp_path / "b.csv",
        [("W1", "TB1-2", "P1-1", "strom"), ("W3", "P1-2", "GND1", "GND")],
        ("Wire", "From", "To", "Role"),
    )
    assert run(["import", table, str(folder)]) == 2
    assert "'strom' is no role that is known" in capsys.readouterr().err
    assert run(["import", table, str(folder), "--word", "strom=power"]) == 0
    assert [run.role.value for run in load_profile(folder).runs] == ["power", "ground"]
    assert run(["import", table, str(folder), "--word", "strom=powr", "--replace"]) == 2
    assert "Did you mean 'power'?" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere.csv", "{folder}"], "there is no such file"),
        (["{table}", "nowhere"], "there is no such folder"),
        (["{table}", "{folder}", "--sheet", "Two"], "has no sheet 'Two'"),
        (["{table}", "{folder}", "--column", "from"], "--column from: wants NAME=VALUE"),
        (["{table}", "{folder}", "--header-row", "7"], "no column is known"),
        (["{table}", "{folder}", "--map", "nowhere.toml"], "there is no such file"),
        (["{table}", "{folder}", "--title", "x"], "belong to a unit's table"),
        (["{table}", "{folder}", "--unit", "Bad Name"], "can't be a unit type"),
        (["{table}", "{folder}", "--unit", "x", "--partial"], "half a unit is none"),
    ],
)
def test_wrong_use(
    tmp_path: Path, folder: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    table = write_table(tmp_path / "bay.xlsx")
    assert run(["import", *(word.format(table=table, folder=folder) for word in words)]) == 2
    assert said in capsys.readouterr().err
    assert names(folder) == ["harness.toml"]


def test_a_mapping_that_was_broken_by_hand(tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = write_table(tmp_path / "bay.xlsx")
    (folder / "import.toml").write_text('schema = 1\nkind = "runs"\ncolumns = [{ head = "x" }]\n', encoding="utf-8")
    assert run(["import", table, str(folder)]) == 2
    err = capsys.readouterr().err
    assert "unknown key 'head'" in err
    assert run(["import", table, str(folder), "--guess"]) == 0


def test_without_harness_toml_only_the_form_is_judged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "new"
    folder.mkdir()
    assert run(["import", write_table(tmp_path / "bay.xlsx"), str(folder)]) == 0
    assert "there is no harness.toml" in capsys.readouterr().err


def test_a_unit_type_from_a_workbook(tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    contacts = OutSheet(
        "Contacts",
        tuple(
            OutColumn(text) for text in ("Plug", "Pin", "Signal name", "Function", "Need", "Voltage (V)", "Load (mA)")
        ),
        (
            ("J1", "1", "24V IN", "PWR", "yes", "24", "500"),
            ("J1", "2", "", "GND", "", "", ""),
            ("J1", "3", "OUT", "TX", "opt", "", ""),
        ),
    )
    paths = OutSheet(
        "Inside",
        (OutColumn("Kind"), OutColumn("A"), OutColumn("B"), OutColumn("Ohm")),
        (("input", "J1-1", "J1-2", "10k"),),
    )
    table = tmp_path / "nav.xlsx"
    table.write_bytes(sheet_bytes(table, [contacts, paths]))
    words = ["import", str(table), str(folder), "--unit", "sounder"]
    assert run(words) == 2
    assert "--connector J1=" in capsys.readouterr().err
    assert not (folder / "units" / "sounder.toml").exists()
    words += ["--connector", "J1=dsub9/pin", "--title", "Sounder"]
    assert run([*words, "--dry-run"]) == 0
    assert 'title = "Sounder"' in capsys.readouterr().out
    assert run(words) == 0
    text = (folder / "units" / "sounder.toml").read_text(encoding="utf-8")
    assert (
        '{ connector = "J1", contact = "1", name = "24V IN", role = "power", need = "needed", feed_v = 24.0, load_a = 0.5 }'
        in text
    )
    assert '{ kind = "input", a = "J1-1", b = "J1-2", ohm = 10000.0 }' in text
    assert "import_unit.toml" in names(folder)
    assert run(words) == 2  # there is one already
    capsys.readouterr()
    assert (
        run(["import", str(table), str(folder), "--unit", "sounder", "--replace", "--json"]) == 0
    )  # the rest is in the old file
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "benchcheck.import_unit/1"
    assert document["tables"]["unit contacts"]["rows"] == 3
    assert (folder / "units" / "sounder.toml").read_text(encoding="utf-8") == text


def test_the_template_is_filled_in_and_imported(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "new.xlsx"
    assert run(["template", str(file), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["sheets"] == [
        "Runs",
        "Unit contacts",
        "Unit connectors",
        "Unit paths",
        "What goes where",
    ]
    assert run(["template", str(file)]) == 2  # it is there
    assert run(["template", str(tmp_path / "new.ods")]) == 2
    sheets = read_sheets(file, lambda sheet: 0.0)[0]
    assert [row.cells[1] for row in sheets[-1].rows if row.cells[0] == "Runs" and len(row.cells) > 1][1:3] == [
        "Wire",
        "From connector",
    ]
    assert run(["import", str(file), str(folder)]) == 2
    assert "holds no rows under its headings" in capsys.readouterr().err
    runs, contacts, connectors, *rest = template_sheets()
    rows = tuple((w, *(part for end in (a, b) for part in end.partition("-")[::2]), *more, "") for w, a, b, *more in (line.split(",") for line in PINS.splitlines()[1:]))  # fmt: skip
    filled = [
        OutSheet(runs.name, runs.columns, rows),
        OutSheet(contacts.name, contacts.columns, (("J1", "1", "IN", "power", "needed", "24", "0.5", ""),)),
        OutSheet(connectors.name, connectors.columns, (("J1", "dsub9", "pin"),)),
        *rest,
    ]
    file.write_bytes(sheet_bytes(file, filled))
    assert run(["import", str(file), str(folder)]) == 0
    assert (folder / "pins.csv").read_text(encoding="utf-8") == PINS.replace(",1.0,", ",1,")
    assert not (folder / "pins_extra.csv").exists()
    assert run(["import", str(file), str(folder), "--unit", "thing"]) == 0
    assert 'name = "J1", family = "dsub9", gender = "pin"' in (folder / "units" / "thing.toml").read_text(
        encoding="utf-8"
    )


def test_export_of_a_profile_that_was_never_imported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    back = tmp_path / "runs.csv"
    assert run(["export", "starter", str(back), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "benchcheck.export/1"
    assert document["headings"][:3] == ["wire", "from", "to"]
    assert document["rows"] == 12
    assert run(["export", "starter", str(tmp_path / "runs.doc")]) == 2
    assert ".csv or .xlsx or .ods" in capsys.readouterr().err


def test_export_says_what_a_spreadsheet_would_do_to_a_text_table(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [("W1", "TB1-2", "P1-1", "power", "=1+1", "007"), ("W3", "P1-2", "GND1", "ground", "1-2", "x")]
    assert (
        run(
            [
                "import",
                write_table(tmp_path / "b.xlsx", rows, ("Wire", "From", "To", "Role", "Sum", "Box")),
                str(folder),
            ]
        )
        == 0
    )
    capsys.readouterr()
    assert run(["export", str(folder), str(tmp_path / "out.csv")]) == 0
    assert "3 cells would be changed or worked out" in capsys.readouterr().err
    assert run(["export", str(folder), str(tmp_path / "out.xlsx")]) == 0
    assert "would be changed" not in capsys.readouterr().err
    (folder / "pins.csv").write_text(
        "wire,from,to,awg,length_m,role,state\nW1,TB1-2,P1-1,22,1.5,power,planned\n", encoding="utf-8"
    )
    assert run(["export", str(folder), str(tmp_path / "out.xlsx"), "--replace"]) == 0
    err = capsys.readouterr().err
    assert "pins_extra.csv has 1 rows whose wire is in pins.csv no more, left out: W3" in err
    assert "the table has no column for awg, length_m, state; added at its end" in err
