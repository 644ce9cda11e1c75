"""The files of a profile become a harness; each kind of fault has its place, its words and its hint."""

from __future__ import annotations

import pytest
from sample_profile import DATABASE, FILES, Change, changed, faults, faults_of, sample

from benchcheck.harness.model import Gender, PathKind, Role, Talk
from benchcheck.harness.reading.forms import HARNESS_TABLES, BusForm
from benchcheck.harness.reading.read_forms import _stand_in
from benchcheck.harness.reading.read_harness import needs, read_harness
from benchcheck.harness.reading.read_tables import Database
from benchcheck.harness.reading.unit_forms import UnitContactForm, UnitPathForm, UnitTypeForm
from benchcheck.words.errors import FaultyFiles

H, P = "harness.toml", "pins.csv"
NAV, LOG = "units/nav.toml", "units/log.toml"


def test_the_sample_becomes_a_harness() -> None:
    harness = sample()
    assert [run.wire for run in harness.runs][:3] == ["W1", "W2", "W3"]
    shield = harness.run("S1")
    assert shield is not None
    assert (shield.a, shield.b, shield.ends) == ("P2-ring", "", ("P2-ring",))
    assert harness.connectors["P1"].contacts == tuple("123456789")
    assert harness.connectors["P3"].rows == (("A", "B"), ("C", "D"))
    assert harness.connectors["GND1"].gender is Gender.NONE
    assert harness.units["LOG"].connectors == {"J1": "P2"}
    assert harness.units["LOG"].title == "Logger"
    assert harness.units["NAV"].node == "NAV"
    entry = harness.unit_contact("P1-1")
    assert entry is not None
    assert (entry.name, entry.role, entry.load_a) == ("24V IN", Role.POWER, 0.5)
    assert harness.units["CONV"].type.paths[0].kind is PathKind.CONVERTER
    assert harness.feeds[1].converter == "CONV"
    assert [message.sender for message in harness.buses[0].messages] == ["NAV", "LOG"]
    assert harness.links[0].talks == (Talk("P1-3", "P2-7", "NAV", ("GPGGA",), 1.0),)
    assert harness.closeout == {"dsub9": ("clamp",)}
    assert str(harness.runs[0].place) == "pins.csv:2:1"
    assert harness.notes == ()


# a change to the sample, then of the one fault: file, the text at its place, words in it, words in its hint
CATALOGUE: list[tuple[Change, str, str, str, str]] = [
    # harness.toml: form
    ((H, 'zone = "left"', 'zoen = "left"'), H, "zoen", "unknown key 'zoen'", "'zone'"),
    ((H, 'title = "Sample"\n', ""), H, "schema", "key 'title' is missing", "What the harness is"),
    ((H, "schema = 1", "schema = 7"), H, "7", "schema version 7 is unknown", "reads schema 1"),
    ((H, "ambient_c = 20.0", 'ambient_c = 20,5'), H, ",5", "isn't TOML", "20.5"),
    ((H, "ambient_c = 20.0", 'ambient_c = "20,5"'), H, '"20,5"', "'20,5' is no number", "20.5 (in degrees Celsius)"),
    ((H, "ambient_c = 20.0", 'ambient_c = "20 C"'), H, '"20 C"', "'20 C' is no number", "alone, in degrees Celsius: 20"),
    ((H, "ambient_c = 20.0", 'ambient_c = 200'), H, "200", "at most 120 degrees Celsius", ""),
    ((H, "ambient_c = 20.0", 'ambient_c = nan'), H, "nan", "ambient_c", ""),
    ((H, "ambient_c = 20.0", 'ambient_c = true'), H, "true", "is no number", ""),
    ((H, '"Sample"', '"\\u001b[2J"'), H, '"\\u001b', "unseen character U+001B", ""),
    ((H, '"Sample"', '"a\\u202eb"'), H, '"a\\u202e', "unseen character U+202E", ""),
    ((H, "[closeout]", "[limits]\nisolation = 1e6\n[closeout]"), H, "isolation =", "unknown key 'isolation'", "isolation_ohm"),
    ((H, "[closeout]", "[limits]\nload_fraction = 1.0\n[closeout]"), H, "load_fraction", "unknown key", ""),
    ((H, "[closeout]", "[connector]\nref = 1\n[closeout]"), H, "[connector]", "unknown key 'connector'", "'connectors'"),
    ((H, 'kind = "protector"', 'kind = "fuse"'), H, '"fuse"', "unknown value 'fuse'", "One of: protector"),
    # connectors
    ((H, '"dsub9"\ngender', '"dsub8"\ngender'), H, '"dsub8"', "unknown family 'dsub8'", "'dsub9'"),
    ((H, '"dsub9"\ngender = "socket"', '"dsub9"\ngender = "female"'), H, '"female"', "unknown value", "'socket'"),
    ((H, '"dsub9"\ngender = "socket"', '"dsub9"'), H, '[[connectors]]\nref = "P1"', "gender of a dsub9 is missing", "pin"),
    ((H, '"dsub9"\ngender = "socket"', '"dsub9"\ngender = "pin"'), H, '"pin"\nunit = "NAV"', "so has NAV J1", "socket"),
    ((H, '"dsub9"\ngender', '"hd15"\ngender'), H, '"hd15"', "NAV J1 is a dsub9", "one family"),
    ((H, 'family = "stud"', 'family = "stud"\ngender = "pin"'), H, '"pin"\nzone', "has no gender", "out"),
    ((H, "[closeout]", '[[connectors]]\nref = "P1-1"\nfamily = "splice"\n[closeout]'), H, '"P1-1"', "can't be a reference", "P1."),
    ((H, "[closeout]", '[[connectors]]\nref = "SP1"\nfamily = "splice"\n[closeout]'), H, '"SP1"\nfamily = "splice"\n[', "SP1 is there twice", ""),
    ((H, 'doubles = ["2"]', "doubles = [2]"), H, "2]\nzone", "is no text", '"2"'),
    ((H, 'doubles = ["2"]', 'doubles = ["2", "7"]'), H, '"7"', "'7' is not in TB1", "1 to 4"),
    ((H, 'doubles = ["2"]', 'doubles = ["2", "2"]'), H, '["2", "2"]', "listed twice", ""),
    ((H, 'rows = [["A", "B"], ["C", "D"]]\n', ""), H, '[[connectors]]\nref = "P3"', "needs rows", "rows ="),
    ((H, '[["A", "B"], ["C", "D"]]', '[["A", "B"], ["C", "A"]]'), H, '[["A"', "listed twice", ""),
    (("units/conv.toml", 'contact = "D"', 'contact = "E"'), H, '[["A"', "lacks: E", ""),
    ((H, 'unit_connector = "J1"\nzone = "left"', 'unit_connector = "J7"\nzone = "left"'), H, '"J7"', "no connector 'J7'", "J1"),
    ((H, 'unit_connector = "J1"\nzone = "left"', ""), H, '"NAV"\n\n', "unit without unit_connector", "J1"),
    ((H, 'unit = "NAV"', 'unit = "NAW"'), H, '"NAW"', "unit 'NAW' is not in", "'NAV'"),
    ((H, 'unit = "LOG"', 'unit = "NAV"'), H, '"J1"\nzone = "right"\n\n[[connectors]]\nref = "P3"', "both mate with NAV J1", ""),
    # units
    ((H, 'type = "conv"', 'type = "../conv"'), H, '"../conv"', "can't be a unit type", "a-z"),
    ((H, 'type = "conv"', 'type = "covn"'), H, '"covn"', "unit type 'covn' has no file", "Write that file"),
    ((H, 'ref = "NAV"', 'ref = "NAV"\nnode = "LOGGER"'), H, '"LOGGER"\n\n[[units]]\nref = "CONV"', "node 'LOGGER' is there twice", ""),
    # feeds, parts, buses, links, close-out
    ((H, 'chassis = "GND1"', 'chassis = "GND7"'), H, '"GND7"', "'GND7' is not in", "'GND1'"),
    ((H, 'source = "TB1-1"', 'source = "TB1-9"'), H, '"TB1-9"', "'9' is not in TB1", "1 to 4"),
    ((H, 'converter = "CONV"', 'converter = "NAV"'), H, '"P3-C"', "is not at unit NAV", ""),
    ((H, 'from = "TB1-1"', 'from = "CB1-1"'), H, '"CB1-1"', "connector 'CB1' is not in", "'TB1'"),
    ((H, 'from = "TB1-1"', 'from = "TB1-2"'), H, '"TB1-2"\nohm', "to itself", ""),
    ((H, "ohm = 120.0\n", ""), H, "[[parts]]\nref = \"RT1\"", "has no ohm", ""),
    ((H, "bitrate = 250000", "bitrate = 250.0"), H, "250.0", "is no whole number", "bits per second"),
    ((H, "bitrate = 250000", "bitrate = 25000000"), H, "25000000", "at most 1e+06 bits per second", ""),
    ((H, '["NAV", "LOG"]', '["NAV", "LOGG"]'), H, '"LOGG"', "unit 'LOGG' is not in", "'LOG'"),
    ((H, 'adapter_at = "P2"', 'adapter_at = "P22"'), H, '"P22"', "connector 'P22' is not in", "'P2'"),
    ((H, 'network = "net.dbc"', 'network = "../net.dbc"'), H, '"../net.dbc"', "must be a file beside", "launch.dbc"),
    ((H, '"nmea0183"', '"nmea"'), H, '"nmea"', "neither built in nor in [[protocols]]", "'nmea0183'"),
    ((H, 'tx = "P1-3"', 'tx = "TB1-3"'), H, '"TB1-3"', "TB1 mates with no unit", "transmitting"),
    ((H, 'tx = "P1-3"', 'tx = "P1-33"'), H, '"P1-33"', "'33' is not in P1", "1 to 9"),
    ((H, 'rx = "P2-7"', 'rx = "P22-7"'), H, '"P22-7"', "connector 'P22' is not in", "'P2'"),
    ((H, 'tap = "P2"', 'tap = "P3"'), H, "[[links.talks]]", "P3 is at neither end of P1-3 to P2-7", "P2, or P1"),
    ((H, 'types = ["GPGGA"]', 'types = ["GPGGA"]\n[[links.talks]]\ntx = "P1-3"\nrx = "P2-7"\nperiod_s = 2.0'), H,
     '"P1-3"\nrx = "P2-7"\nperiod_s', "NAV talks on link 'position' already", "all its types"),
    ((H, 'rx = "P2-7"', 'rxx = "P2-7"\nrx = "P2-7"'), H, "rxx", "unknown key 'rxx'", "'rx'"),
    ((H, "dsub9 = [", "dsub99 = ["), H, "dsub99", "unknown family 'dsub99'", "'dsub9'"),
    ((H, '["clamp"]', '"clamp"'), H, '"clamp"', "no list of texts", ""),
    # pins.csv
    ((P, "W3,P1-2", "W3,P1-22"), P, "P1-22", "'22' is not in P1", "1 to 9"),
    ((P, "W3,P1-2", "W3,P11-2"), P, "P11-2", "connector 'P11' is not in", "'P1'"),
    ((P, "W3,P1-2", "W3,p1-2"), P, "p1-2", "connector 'p1' is not in", "'P1'"),
    ((P, "W3,P1-2", "W3,P1"), P, "P1,GND1", "names the connector, not a contact", "P1-1"),
    ((P, "W3,P1-2,GND1", "W3,P1-2,GND1-1"), P, "GND1-1", "GND1 is a stud", "Write GND1."),
    ((P, "W3,P1-2", "W3,P1 2"), P, "P1 2", "not written like a contact", "P101-4"),
    ((P, "W4,P3-B", "W4,P3-b"), P, "P3-b", "'b' is not in P3", "'P3-B'"),
    ((P, "W3,P1-2", "W3,P1-1"), P, "P1-1,GND1", "P1-1 holds a second conductor: W3 here, W1 at line 2", "doubles of P1"),
    ((P, "W4,P3-B", "W4,TB1-2"), P, "TB1-2,GND1", "a third conductor: W4 here, W1 at line 2, W2 at line 3", "splice"),
    ((P, "W3,P1-2", "W2,P1-2"), P, "W2,P1-2", "wire 'W2' is there twice, first at line 3", ""),
    ((P, "W3,P1-2", ",P1-2"), P, ",P1-2", "wire is empty", ""),
    ((P, "W3,P1-2", "W 3,P1-2"), P, "W 3", "'W 3' can't be a name", "Letters"),
    ((P, "W3,P1-2,", "W3,,"), P, ",GND1,22,1.2", "run with no `from`", ""),
    ((P, "W3,P1-2,GND1", "W3,P1-2,"), P, ",22,1.2,ground", "run with no `to`", "shield"),
    ((P, "W3,P1-2,GND1", "W3,P1-2,P1-2"), P, "P1-2,22", "to itself", ""),
    ((P, "W3,P1-2,GND1,22", "W3,P1-2,GND1,22 AWG"), P, "22 AWG", "is no gauge", "alone: 22"),
    ((P, "W3,P1-2,GND1,22", "W3,P1-2,GND1,0.34"), P, "0.34", "is no gauge", "square millimetres"),
    ((P, "W3,P1-2,GND1,22", "W3,P1-2,GND1,99"), P, "99", "no gauge that exists", "0000"),
    ((P, "W3,P1-2,GND1,22,1.2", 'W3,P1-2,GND1,22,"1,2"'), P, '"1,2"', "is no length", "Write 1.2 (in metres)"),
    ((P, "W3,P1-2,GND1,22,1.2", "W3,P1-2,GND1,22,1,2"), P, ",W4", "row has 11 fields", "decimal comma"),
    ((P, "W3,P1-2,GND1,22,1.2", "W3,P1-2,GND1,22,120 cm"), P, "120 cm", "is no length", "1.2"),
    ((P, "W3,P1-2,GND1,22,1.2", "W3,P1-2,GND1,22,1.2m"), P, "1.2m", "is no length", "alone, in metres: 1.2"),
    ((P, "W3,P1-2,GND1,22,1.2", "W3,P1-2,GND1,22,1200000"), P, "1200000", "too long", "millimetres"),
    ((P, "W3,P1-2,GND1,22,1.2", "W3,P1-2,GND1,22,-1"), P, "-1", "is no length", "negative"),
    ((P, "P1-2,GND1,22,1.2,ground", "P1-2,GND1,22,1.2,grond"), P, "grond", "unknown value 'grond'", "'ground'"),
    ((P, "P1-6,P2-4,22,1.5,can_h", "P1-6,P2-4,22,1.5,CANH"), P, "CANH", "unknown value 'CANH'", "'can_h'"),
    ((P, "can_h,C1,S1", "can_h,C1,S7"), P, "S7", "shield 'S7' is no run of role shield", "S1"),
    ((P, "can_h,C1,S1", "can_h,C1,W1"), P, "W1,white", "no run of role shield", "role power"),
    ((P, "B1,P2-10,P2-11", "B1,P2-10,P1-9"), P, "bridge", "bridge from 'P2' to 'P1'", "one connector"),
    ((P, "black,\nW4", "bl\x1b[31mack,\nW4"), P, "bl\x1b", "unseen character U+001B", ""),
    # unit files
    ((NAV, 'need = "optional"', 'need = "maybe"'), NAV, '"maybe"', "unknown value 'maybe'", "needed, optional, unused"),
    ((NAV, 'contact = "2"', 'contact = "1"'), NAV, '"1"\nrole = "ground"', "J1-1 is described twice", ""),
    ((NAV, 'contact = "2"', 'contact = "22"'), NAV, '"22"', "'22' is not in J1", "1 to 9"),
    ((NAV, 'contact = "2"', "contact = 2"), NAV, "2\nrole", "is no text", '"2"'),
    ((NAV, "load_a = 0.5", "load = 0.5"), NAV, "load =", "unknown key 'load'", "'load_a'"),
    ((LOG, 'b = "J1-5"', 'b = "J1-55"'), LOG, '"J1-55"', "'55' is not in J1", "1 to 15"),
    ((LOG, '["J1-10", "J1-11"]', '["J1-10", "J2-11"]'), LOG, '"J2-11"', "connector 'J2' is not among", "J1"),
    ((LOG, "ohm = 120.0\n", ""), LOG, "[[paths]]", "terminator path has no ohm", ""),
    ((LOG, 'b = "J1-5"\n', ""), LOG, "[[paths]]", "terminator path has no b", ""),
    ((LOG, "schema = 1", "schema = 3"), LOG, "3", "schema version 3 is unknown", ""),
]  # fmt: skip


@pytest.mark.parametrize("case", CATALOGUE, ids=lambda case: f"{case[1]}:{case[3] or case[2]}")
def test_a_fault_has_place_words_and_hint(case: tuple[Change, str, str, str, str]) -> None:
    change, file, _, words, hint = case
    found = faults(change)
    assert len(found) == 1, [str(fault) for fault in found]
    fault = found[0]
    assert fault.place.file == file
    assert words in fault.text
    assert hint in fault.hint
    assert fault.text.isprintable()
    assert fault.hint.isprintable()


def test_places_are_those_of_the_offending_text() -> None:
    wrong_places = []
    for change, file, anchor, words, _ in CATALOGUE:
        if anchor.startswith(",W4") or words.startswith("isn't TOML"):
            continue
        fault = faults(change)[0]
        text = changed(change)[file]
        offset = (
            sum(len(line) + 1 for line in text.split("\n")[: (fault.place.line or 1) - 1])
            + (fault.place.column or 1)
            - 1
        )
        if not text.startswith(anchor, offset):
            wrong_places.append((words, str(fault.place), text[offset : offset + 20]))
    assert wrong_places == []


def test_all_faults_of_all_files_at_once() -> None:
    found = faults(
        (H, 'zone = "left"', 'zoen = "left"'),
        (H, 'chassis = "GND1"', 'chassis = "GND7"'),
        (P, "W3,P1-2", "W3,P2-22"),
        (P, "W9,P1-5,P2-8,22,1.5", "W9,P1-5,P2-8,22 AWG,1.5 m"),
        (LOG, 'b = "J1-5"', 'b = "J1-55"'),
    )
    assert sorted((fault.place.file, fault.place.line) for fault in found) == [
        (H, 4),
        (H, 12),
        (P, 4),
        (P, 11),
        (P, 11),
        (LOG, 59),
    ]


def test_a_column_with_a_wrong_name_is_said_from_both_sides() -> None:
    assert [fault.text for fault in faults((P, "wire,from", "wire,form"))] == [
        "unknown column 'form'",
        "column 'from' is missing",
    ]


def test_a_faulty_connector_is_said_once() -> None:
    # P1 has ten runs and references; its own table is faulty, so nothing more is said of its contacts
    assert len(faults((H, 'zone = "left"', 'zoen = "left"'))) == 1


def test_other_files_are_judged_where_harness_toml_is_no_toml() -> None:
    found = faults(
        (H, "ambient_c = 20.0", "ambient_c = 20,5"),
        (P, "W3,P1-2,GND1,22", "W3,P1-2,GND1,x"),
        (LOG, 'b = "J1-5"', 'b = "J1-55"'),
    )
    assert {fault.place.file for fault in found} == {H, P, LOG}


def test_connectors_that_can_not_be_read_are_said_once() -> None:
    files = changed()
    files[H] = files[H].replace("[[connectors]]", "[[conectors]]")
    assert {fault.text for fault in faults_of(files)} == {"key 'connectors' is missing", "unknown key 'conectors'"}


def test_missing_files() -> None:
    assert {str(fault.place) for fault in faults_of({})} == {H, P}
    without = {name: text for name, text in FILES.items() if name != P}
    assert [fault.text for fault in faults_of(without)] == ["is missing"]


def test_an_old_encoding_is_read_and_said() -> None:
    files: dict[str, bytes | str] = dict(
        changed((P, "W9,P1-5,P2-8,22,1.5,signal,,,grey,", "W9,P1-5,P2-8,22,1.5,signal,,,grün,"))
    )
    files[P] = str(files[P]).encode("cp1252")
    harness = read_harness("sample", files)
    assert harness.notes == ("pins.csv is not in UTF-8 (line 11, column 32); read as Windows-1252",)
    run = harness.run("W9")
    assert run is not None
    assert run.colour == "grün"


def test_semicolons_tabs_and_comments_read_the_same() -> None:
    for mark in (";", "\t"):
        files = changed()
        files[P] = "\ufeff# by a spreadsheet\n\n" + files[P].replace(",", mark).replace("\n", "\r\n")
        harness = read_harness("sample", files)
        assert [(run.wire, run.a, run.b, run.shield) for run in harness.runs] == [
            (run.wire, run.a, run.b, run.shield) for run in sample().runs
        ]


def test_a_unit_of_the_profile_wins_over_the_shared_one() -> None:
    files = changed()
    files["../units/nav.toml"] = "schema = 9"
    assert read_harness("sample", files).units["NAV"].type.title == "Navigator"
    del files["units/nav.toml"]
    with pytest.raises(FaultyFiles):
        read_harness("sample", files)


def test_needs_never_leads_out_of_the_folder() -> None:
    text = '[[units]]\ntype="../x"\n[[units]]\ntype="ok"\n[[buses]]\nnetwork="/etc/x"\n[[buses]]\nnetwork="a.dbc"\n'
    assert needs(text).unit_types == ("ok",)
    assert needs(text).networks == ("a.dbc",)
    for garbage in ("x = [", 'units = "x"', "units = [1]", "buses = {}"):
        assert needs(garbage).unit_types == ()


def test_two_messages_with_one_identifier() -> None:
    with pytest.raises(FaultyFiles) as caught:
        sample(database=Database((*DATABASE.messages, DATABASE.messages[0])))
    assert "same identifier 100" in caught.value.faults[0].text


def test_a_long_table_is_read_whole_and_every_fault_listed() -> None:
    count = 5_000
    connectors = "".join(f'[[connectors]]\nref = "P{n}"\nfamily = "dsub50"\ngender = "pin"\n' for n in range(200))
    contacts = [f"P{n}-{pin}" for n in range(200) for pin in range(1, 51)]
    harness_toml = f'schema = 1\ntitle = "long"\nchassis = "P0-1"\n{connectors}'
    rows = [f"W{n},{contacts[2 * n]},{contacts[2 * n + 1]},22,1.5,signal" for n in range(count)]
    header = "wire,from,to,awg,length_m,role\n"
    assert len(read_harness("long", {H: harness_toml, P: header + "\n".join(rows)}).runs) == count
    wrong = [row.replace(",P", ",Q") for row in rows]
    assert len(faults_of({H: harness_toml, P: header + "\n".join(wrong)})) == 2 * count


@pytest.mark.parametrize(
    ("changes", "texts"),
    [
        # a wrong number hides nothing that is named in the same table
        (
            [(H, "bitrate = 250000", 'bitrate = "fast"'), (H, 'nodes = ["NAV"', 'nodes = ["NAB"')],
            ["bitrate: 'fast' is no whole number", "unit 'NAB' is not in harness.toml"],
        ),
        (
            [(H, "bitrate = 250000", "bitrat = 250000"), (H, 'nodes = ["NAV"', 'nodes = ["NAB"')],
            ["key 'bitrate' is missing", "unknown key 'bitrat'", "unit 'NAB' is not in harness.toml"],
        ),
        (
            [(H, "ambient_c = 20.0", "ambient_c = 200"), (H, 'chassis = "GND1"', 'chassis = "GND7"')],
            ["ambient_c: '200' is too large: at most 120 degrees Celsius is wanted", "chassis: connector 'GND7' "],
        ),
    ],
)
def test_a_wrong_key_does_not_hide_another_of_its_table(changes: list[Change], texts: list[str]) -> None:
    found = [fault.text for fault in faults(*changes)]
    assert len(found) == len(texts), found
    for text in texts:
        assert any(fault.startswith(text) for fault in found), found


def test_every_stand_in_is_a_value_that_its_form_takes() -> None:
    """Whatever number, choice or text may be wrong, one that fits is found for it: else it would hide its table."""
    for form in (*HARNESS_TABLES.values(), UnitTypeForm, UnitContactForm, UnitPathForm):
        for name, info in form.model_fields.items():
            stand_in = _stand_in(form, info.alias or name, info)
            if stand_in is not None:
                form.__pydantic_validator__.validate_assignment(form.model_construct(), name, stand_in)
    assert _stand_in(BusForm, "bitrate", BusForm.model_fields["bitrate"]) is not None
    assert _stand_in(BusForm, "adapter_at", BusForm.model_fields["adapter_at"]) is None


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ('"fast"', "A whole number in bits per second is wanted, as 250000."),
        ('"250.5"', "A whole number in bits per second is wanted, as 250000."),
        ("250000.0", "A whole number in bits per second is wanted: 250000."),
        ("1e400", "A whole number in bits per second is wanted."),
        ('"250000"', "Write it without quotes: 250000."),
    ],
)
def test_the_hint_for_a_whole_number_is_a_whole_number(written: str, hint: str) -> None:
    assert [fault.hint for fault in faults((H, "bitrate = 250000", f"bitrate = {written}"))] == [hint]


def test_a_number_beyond_all_numbers() -> None:
    (fault,) = faults((H, "ambient_c = 20.0", "ambient_c = 1e400"))
    assert "is more than a number can hold" in fault.text
