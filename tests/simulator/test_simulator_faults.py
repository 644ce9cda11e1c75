"""Reading the faults file: every mistake gets its line and a hint; the truth list says stage and place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from small_benches import chain

from benchcheck.simulator.fault_file import parse_faults, read_faults, write_truth
from benchcheck.simulator.faults import KINDS, LateUnit, OpenRun, Short, UnexpectedMessage
from benchcheck.words.errors import FaultyFiles, InputError
from benchcheck.words.squawk import SquawkKind

GOOD = """
schema = 1

[[faults]]
kind = "open_run"
run = "W11"

[[faults]]
kind = "short"
contacts = ["P1-3", "P1-2"]
ohm = 1

[[faults]]
kind = "late_unit"
unit = "U2"
delay_s = 3.5

[[faults]]
kind = "extra_terminator"
contacts = ["P2-3", "P2-4"]
"""


def faults_of(text: str) -> FaultyFiles:
    with pytest.raises(FaultyFiles) as caught:
        parse_faults(text, chain(), "f.toml")
    return caught.value


def test_good_file_becomes_faults() -> None:
    found = parse_faults(GOOD, chain())
    assert found[:3] == (OpenRun("W11"), Short(("P1-3", "P1-2"), 1.0), LateUnit("U2", 3.5))


def test_every_kind_is_a_squawk_that_can_be_named() -> None:
    assert set(KINDS) <= {kind.value for kind in SquawkKind}
    assert len(KINDS) == 26


def test_truth_list(tmp_path: Path) -> None:
    harness = chain()
    path = tmp_path / "truth.json"
    write_truth(path, parse_faults(GOOD, harness), harness)
    truth = json.loads(path.read_text(encoding="utf-8"))
    assert [(t["kind"], t["stage"], t["where"]) for t in truth] == [
        ("open_run", "dead", ["W11"]),
        ("short", "dead", ["P1-3", "P1-2"]),
        ("late_unit", "live", ["U2"]),
        ("extra_terminator", "dead", ["can1"]),
    ]
    assert truth[2]["delay_s"] == 3.5


def test_all_mistakes_at_once_with_line_and_hint() -> None:
    error = faults_of(
        '[[faults]]\nkind = "open_rum"\nrun = "W11"\n\n'
        '[[faults]]\nkind = "open_run"\nrun = "W111"\n\n'
        '[[faults]]\nkind = "silent_unit"\nunit = "X"\nspeed = 3\n'
    )
    assert [(f.place.line, f.text, f.hint) for f in error.faults] == [
        (2, "unknown kind 'open_rum'", "Did you mean 'open_run'?"),
        (7, "no run 'W111'", "Did you mean 'W11'?"),
        (12, "unknown key 'speed' for silent_unit", "Known: unit."),
    ]


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ('kind = "silent_unit"\nunit = "U9"', "no unit 'U9'"),
        ('kind = "swapped_contacts"\ncontacts = ["P1-1", "P2-1"]', "must be of one connector"),
        ('kind = "swapped_contacts"\ncontacts = ["P1-1", "P1-77"]', "connector P1 has no contact 'P1-77'"),
        ('kind = "swapped_contacts"\ncontacts = ["P1-1"]', "'contacts' is"),
        ('kind = "short"\ncontacts = ["P1-1", "P1-1"]', "the two contacts are the same"),
        ('kind = "wrong_contact"\nrun = "W11"\nend = "P2-1"\nto = "P1-9"', "has no end at"),
        ('kind = "wrong_contact"\nrun = "W11"\nend = "P1-1"\nto = "P2-9"', "not in the connector of"),
        ('kind = "wrong_contact"\nrun = "W11"\nend = "P1-1"\nto = "P1-2"', "P1-2 is not vacant: W21 sits there"),
        ('kind = "missing_terminator"\npart = "CB1"', "CB1 is a protector, no terminator"),
        ('kind = "protector_open"\npart = "RT1"', "RT1 is a terminator, no protector or switch"),
        ('kind = "missing_bridge"\nrun = "W11"', "is not a bridge"),
        ('kind = "missing_drain"\nrun = "B1"', "is not a shield"),
        ('kind = "missing_terminator"\npart = "RT9"', "no part 'RT9'"),
        ('kind = "extra_terminator"\ncontacts = ["P1-1", "P1-2"]', "not CAN-H and CAN-L"),
        ('kind = "bus_cut"\nruns = ["W31", "W99"]', "no run 'W99'"),
        ('kind = "converter_off"\nunit = "U1"', "U1 makes no feed"),
        ('kind = "feed_volts"\nfeed = "24V"\nvolts = 20', "made by no converter"),
        ('kind = "feed_volts"\nfeed = "36V"\nvolts = 20', "no feed '36V'"),
        ('kind = "unit_current"\nunit = "U1"\nfactor = -1', "-1 must be more than 0"),
        ('kind = "dead_transmitter"\ncontact = "P1-8"', "no link has its transmitter at"),
        ('kind = "wrong_baud"\nlink = "lynk"\nsender = "U1"\nbaud = 9600', "no link 'lynk'"),
        ('kind = "wrong_baud"\nlink = "link"\nsender = "U3"\nbaud = 9600', "says nothing on link"),
        ('kind = "unexpected_message"\nbus = "can9"\ncan_id = 1\nperiod_s = 1', "no bus 'can9'"),
        ('kind = "unexpected_message"\nbus = "can1"\ncan_id = 1.5\nperiod_s = 1', "'can_id' is 1.5"),
        ('kind = "late_unit"\nunit = "U1"', "late_unit needs 'delay_s'"),
        ('kind = "mirrored_numbering"\nat = "P77"', "no connector 'P77'"),
        ("run = 3", "the fault has no kind"),
    ],
)
def test_each_mistake_is_said(body: str, text: str) -> None:
    error = faults_of(f"[[faults]]\n{body}\n")
    assert any(text in fault.text for fault in error.faults), str(error)
    assert all(fault.place.line for fault in error.faults)


def test_not_toml_names_the_line() -> None:
    assert faults_of('[[faults]]\nkind = open_run"\n').faults[0].place.line == 2


def test_not_a_list_and_unknown_top_key() -> None:
    assert "no list of tables" in faults_of("faults = 3\n").faults[0].text
    assert faults_of("fault = []\n").faults[0].text == "unknown key 'fault'"


def test_unreadable_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be read"):
        read_faults(tmp_path / "none.toml", chain())
    (tmp_path / "bad.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_faults(tmp_path / "bad.toml", chain())


def test_hexadecimal_identifier() -> None:
    text = '[[faults]]\nkind = "unexpected_message"\nbus = "can1"\ncan_id = 0x7AB\nperiod_s = 0.2\n'
    assert parse_faults(text, chain()) == (UnexpectedMessage("can1", 0x7AB, 0.2),)
