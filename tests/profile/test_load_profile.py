"""A profile folder is loaded: shipped ones, broken ones, odd files, databases."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from sample_profile import FILES

from benchcheck.harness.reading.file_text import LARGEST_BYTES
from benchcheck.harness.review.rule import review
from benchcheck.profile.find import find_profile, shipped_folder, shipped_names
from benchcheck.profile.load import digest_of, load_profile
from benchcheck.words.errors import FaultyFiles, FileFault, InputError

DBC = """\
VERSION ""
BU_: NAV LOGGER
BO_ 256 Fix: 8 NAV
 SG_ Lat : 0|32@1- (1,0) [0|0] "" LOGGER
BO_ 2566844672 State: 4 LOGGER
 SG_ On : 0|1@1+ (1,0) [0|1] "" NAV
BA_DEF_ BO_  "GenMsgCycleTime" INT 0 65535;
BA_DEF_DEF_  "GenMsgCycleTime" 0;
BA_ "GenMsgCycleTime" BO_ 256 200;
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The sample as files, with its database."""
    for name, text in {**FILES, "net.dbc": DBC}.items():
        path = tmp_path / "sample" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return tmp_path / "sample"


def faults(folder: Path) -> tuple[FileFault, ...]:
    with pytest.raises(FaultyFiles) as caught:
        load_profile(folder)
    return caught.value.faults


def test_the_starter_is_found_loads_and_reviews_clean() -> None:
    harness = load_profile(find_profile("starter"))
    assert review(harness) == ()
    assert harness.notes == ()
    assert (len(harness.units), len(harness.runs)) == (2, 12)
    # three connectors and a stud
    assert [connector.family for connector in harness.connectors.values()] == ["dsub9", "dsub15", "terminals", "stud"]
    roles = {run.role.value for run in harness.runs}
    assert {"can_h", "can_l", "rs232_tx", "shield", "bridge", "power"} <= roles
    assert {message.sender for message in harness.buses[0].messages} == set(harness.buses[0].nodes)


def test_the_folder_becomes_the_harness(folder: Path) -> None:
    harness = load_profile(folder)
    assert harness.name == "sample"
    first, second = harness.buses[0].messages
    assert (first.can_id, first.extended, first.sender, first.period_s, first.length) == (0x100, False, "NAV", 0.2, 8)
    # identifier with the extended flag of the file taken off: 2566844672 = 0x80000000 + 0x18FEF100
    assert (second.can_id, second.extended, second.sender, second.period_s) == (0x18FEF100, True, "LOG", None)
    assert review(harness) == ()


def test_the_digest_covers_every_file_that_counts(folder: Path) -> None:
    first = load_profile(folder).digest
    assert len(first) == 64
    assert load_profile(folder).digest == first
    seen = {first}
    for name in ("pins.csv", "harness.toml", "units/nav.toml"):
        with (folder / name).open("a", encoding="utf-8") as file:
            file.write("# more\n")
        seen.add(load_profile(folder).digest)
    (folder / "net.dbc").write_text(DBC + "\n", encoding="utf-8")
    seen.add(load_profile(folder).digest)
    assert len(seen) == 5
    (folder / "notes.txt").write_text("no part of it", encoding="utf-8")
    assert load_profile(folder).digest in seen


def test_digest_keeps_names_and_contents_apart() -> None:
    assert digest_of({"a": b"bc"}) != digest_of({"ab": b"c"})
    assert digest_of({"a": b"1", "b": b"2"}) == digest_of({"b": b"2", "a": b"1"})


def test_units_beside_the_profile(folder: Path) -> None:
    shutil.move(folder / "units", folder.parent / "units")
    assert load_profile(folder).units["NAV"].type.place.file == "../units/nav.toml"


def test_a_wrong_unit_type_gets_the_nearest_name(folder: Path) -> None:
    text = (folder / "harness.toml").read_text(encoding="utf-8").replace('type = "conv"', 'type = "cnov"')
    (folder / "harness.toml").write_text(text, encoding="utf-8")
    assert [fault.hint for fault in faults(folder)] == ["Did you mean 'conv'?"]


@pytest.mark.parametrize("where", ["nowhere", "sample/pins.csv", "sample/units", "x" * 5000, "a\0b"])
def test_no_profile_there(folder: Path, where: str) -> None:
    with pytest.raises(InputError) as caught:
        load_profile(folder.parent / where)
    assert "profiles/starter" in caught.value.hint
    assert not isinstance(caught.value, FaultyFiles)


def test_missing_pin_table_and_database_are_listed_together(folder: Path) -> None:
    (folder / "pins.csv").unlink()
    (folder / "net.dbc").unlink()
    assert [(fault.place.file, fault.text) for fault in faults(folder)] == [
        ("pins.csv", "is missing"),
        ("harness.toml", "network: the file net.dbc is missing"),
    ]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_in_place_of_a_file_does_not_block(folder: Path) -> None:
    (folder / "pins.csv").unlink()
    os.mkfifo(folder / "pins.csv")
    assert [fault.text for fault in faults(folder)] == ["is no plain file"]


def test_a_folder_in_place_of_a_file(folder: Path) -> None:
    (folder / "pins.csv").unlink()
    (folder / "pins.csv").mkdir()
    assert [fault.text for fault in faults(folder)] == ["is no plain file"]


def test_a_file_far_too_large(folder: Path) -> None:
    with (folder / "pins.csv").open("wb") as file:
        file.truncate(50_000_000)
    assert LARGEST_BYTES < 50_000_000
    assert [fault.text for fault in faults(folder)] == ["is 50 MB large, more than 20 MB"]


def test_binary_files(folder: Path) -> None:
    (folder / "pins.csv").write_bytes(b"PK\x03\x04" + bytes(1000))
    (folder / "units" / "nav.toml").write_bytes(b"\x7fELF\0\0")
    texts = {fault.place.file: fault.text for fault in faults(folder)}
    assert texts == {"pins.csv": "is a workbook or archive, not text", "units/nav.toml": "is a program, not text"}


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (DBC.replace("BO_ 256 Fix: 8 NAV", "BO_ 256 Fix 8 NAV"), 3),
        ("", 1),
        ("this is no database", 1),
        ("\0\1\2\3", 1),
    ],
)
def test_an_unreadable_database(folder: Path, content: str, line: int) -> None:
    (folder / "net.dbc").write_text(content, encoding="utf-8")
    found = faults(folder)
    assert [(fault.place.file, fault.place.line) for fault in found] == [("net.dbc", line)]
    assert "can't be read as a message database" in found[0].text
    assert found[0].text.isprintable()


def test_an_unreadable_database_hides_no_other_fault(folder: Path) -> None:
    (folder / "net.dbc").write_text("nothing", encoding="utf-8")
    text = (folder / "pins.csv").read_text(encoding="utf-8").replace("W3,P1-2", "W3,P1-22")
    (folder / "pins.csv").write_text(text, encoding="utf-8")
    assert {fault.place.file for fault in faults(folder)} == {"net.dbc", "pins.csv"}


def test_a_database_with_a_fault_is_read_leniently_and_says_so(folder: Path) -> None:
    # two signals on the same bits: the library refuses that unless it is lenient
    text = DBC.replace('[0|1] "" NAV\n', '[0|1] "" NAV\n SG_ Off : 0|2@1+ (1,0) [0|1] "" NAV\n')
    (folder / "net.dbc").write_text(text, encoding="utf-8")
    harness = load_profile(folder)
    assert len(harness.buses[0].messages) == 2
    assert len(harness.notes) == 1
    assert harness.notes[0].startswith("net.dbc: read leniently")


def test_find_profile(folder: Path) -> None:
    assert find_profile(folder) == folder
    assert find_profile(folder / "harness.toml") == folder
    assert find_profile("starter") == shipped_folder() / "starter"
    assert "starter" in shipped_names()
    for wrong in ("startr", "../starter", "a\0b", "x" * 5000):
        with pytest.raises(InputError) as caught:
            find_profile(wrong)
        assert "starter" in caught.value.hint
        assert str(caught.value).replace("\n", "").isprintable()


def test_a_copy_of_a_shipped_profile_finds_its_unit_types(tmp_path: Path) -> None:
    copy = tmp_path / "mine"
    shutil.copytree(shipped_folder() / "starter", copy)
    harness = load_profile(copy)
    assert sorted(note.partition(":")[0] for note in harness.notes) == sorted(
        f"unit type {unit.type.name}" for unit in harness.units.values()
    )
    assert all("come with benchcheck" in note for note in harness.notes)
    (copy / "units").mkdir()
    own = next(iter(harness.units.values())).type.name
    shutil.copy(shipped_folder() / "units" / f"{own}.toml", copy / "units")
    again = load_profile(copy)  # its own file goes before the shipped one
    assert len(again.notes) == len(harness.notes) - 1
    assert again.digest != harness.digest


def test_a_folder_that_may_not_be_looked_into(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(path: Path) -> bool:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "is_file", refused)
    with pytest.raises(InputError) as caught:
        find_profile("/somewhere/bay")
    assert "permission denied" in str(caught.value)
