"""`benchcheck review`: what it prints, and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from sample_profile import FILES, changed

from benchcheck.cli.main import run


def write(folder: Path, files: dict[str, str]) -> str:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text.replace('network = "net.dbc"\n', ""), encoding="utf-8")
    return str(folder)


def test_a_clean_profile(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", "starter"]) == 0
    out, err = capsys.readouterr()
    assert "no findings, no warnings" in out
    assert err == ""


def test_findings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    profile = write(tmp_path, changed(("pins.csv", "W3,P1-2,GND1,22,1.2,ground,,,black,\n", "")))
    assert run(["review", profile]) == 1
    out, err = capsys.readouterr()
    assert "finding harness.toml:7:7: P1-2 (NAV) has no run [forgotten_run]" in out
    assert "Why: " in out
    assert err == ""
    assert run(["review", profile, "--plain"]) == 1
    *found, count = capsys.readouterr().out.splitlines()
    assert all(line.startswith(("finding ", "warning ")) for line in found)  # one line each, without why and what to do
    assert f"{sum(line.startswith('finding ') for line in found)} finding" in count


def test_warnings_alone_exit_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    profile = write(tmp_path, changed(("harness.toml", 'zone = "left"\n', "")))
    assert run(["review", profile]) == 0
    assert "warning harness.toml:7:7: P1 has no zone [no_zone]" in capsys.readouterr().out


def test_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    profile = write(tmp_path, changed(("harness.toml", 'zone = "left"\n', "")))
    assert run(["review", profile, "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    document = json.loads(out)
    assert document["schema"] == "benchcheck.review/1"
    assert document["runs"] == 14
    found = [(f["code"], f["where"], f["file"], f["line"]) for f in document["findings"]]
    assert ("no_zone", ["P1"], "harness.toml", 7) in found


def test_an_unfinished_table_is_reviewed_all_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Rows at fault come first, with a code, and what is wrong elsewhere is found as well."""
    files = changed(
        ("pins.csv", "W3,P1-2,GND1,", "W3,P1-22,GND1,"),  # no such contact: P1-2 is not forgotten besides
        ("pins.csv", "W12,P3-D,P2-9,", "W11,P3-D,P2-9,"),
        ("harness.toml", 'zone = "left"\n', ""),
        ("harness.toml", 'rx = "P2-7"', 'rx = "P2-6"'),
    )
    profile = write(tmp_path, files)
    assert run(["review", profile]) == 1
    out, err = capsys.readouterr()
    assert "finding pins.csv:4:4: from: contact '22' is not in P1. P1 (dsub9) has 1 to 9" in out
    assert "mend them" in err
    assert run(["review", profile, "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["faults"] == []
    codes = [finding["code"] for finding in document["findings"]]
    assert codes == ["contact_unknown", "wire_number_twice", "link_not_joined", "no_zone", "bus_without_messages"]
    # and no other command takes such a table
    assert run(["plan", profile]) == 2
    assert "contact '22' is not in P1" in capsys.readouterr().err


def test_a_value_that_cant_be_read_exits_2_and_the_rest_is_reviewed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = changed(("pins.csv", "P2-8,22,1.5", "P2-8,22x,1.5"), ("harness.toml", 'zone = "left"\n', ""))
    profile = write(tmp_path, files)
    assert run(["review", profile, "--json"]) == 2
    document = json.loads(capsys.readouterr().out)
    assert [(fault["line"], fault["text"]) for fault in document["faults"]] == [(11, "awg: '22x' is no gauge")]
    assert {finding["code"] for finding in document["findings"]} == {"no_zone", "bus_without_messages"}
    assert run(["review", profile, "--plain"]) == 2
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("fault pins.csv:11:")
    assert "1 fault of the files" in lines[-1]


def test_faulty_files_are_all_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = changed(("pins.csv", "W3,P1-2", "W3,P1-22"), ("units/nav.toml", 'contact = "2"', 'contact = "22"'))
    profile = write(tmp_path, files)
    assert run(["review", profile]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "pins.csv:4:4: from: contact '22' is not in P1" in err
    assert "units/nav.toml:" in err
    assert "Traceback" not in err
    assert run(["review", profile, "--json"]) == 2
    document = json.loads(capsys.readouterr().out)
    assert (document["schema"], document["exit_code"]) == ("benchcheck.error/1", 2)
    assert {fault["file"] for fault in document["faults"]} == {"pins.csv", "units/nav.toml"}
    assert document["faults"][0]["hint"]
    assert {fault["code"] for fault in document["faults"] if fault["file"] == "pins.csv"} == {"contact_unknown"}


def test_notes_go_to_the_person(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    profile = write(tmp_path, dict(FILES))
    pins = FILES["pins.csv"].replace("grey", "grün").encode("cp1252")
    (tmp_path / "pins.csv").write_bytes(pins)
    assert run(["review", profile]) == 0
    assert "Windows-1252" in capsys.readouterr().err


@pytest.mark.parametrize("profile", ["nosuch", "startr"])
def test_no_such_profile(profile: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["review", profile]) == 2
    err = capsys.readouterr().err
    assert "starter" in err
    assert "Traceback" not in err
