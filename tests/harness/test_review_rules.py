"""Each rule of the paper review finds its own fixtures, and no other rule does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest
from sample_profile import DATABASE, Change, sample

from benchcheck.harness.model import RunState
from benchcheck.harness.read_tables import Database, DatabaseMessage
from benchcheck.harness.review.rule import Rule, Severity, all_rules, review, review_rule

H, P = "harness.toml", "pins.csv"
NAV, LOG, CONV = "units/nav.toml", "units/log.toml", "units/conv.toml"


@dataclass(frozen=True)
class Fixture:
    """Changes to the sample that break one rule and no other, and what the finding must name."""

    rule: str
    where: tuple[str, ...]
    changes: tuple[Change, ...]
    database: Database = DATABASE


def add_run(row: str) -> Change:
    return (P, "B1,P2-10", f"{row}\nB1,P2-10")


def add_table(text: str) -> Change:
    return (H, "[closeout]", f"{text}\n[closeout]")


SPLICES = add_table('[[connectors]]\nref = "SP2"\nfamily = "splice"\n[[connectors]]\nref = "SP3"\nfamily = "splice"')

FIXTURES = [
    Fixture("forgotten_run", ("P1-2",), ((P, "W3,P1-2,GND1,22,1.2,ground,,,black,\n", ""),)),
    Fixture("forgotten_run", ("NAV",), ((NAV, "[[contacts]]\nconnector = \"J1\"\ncontact = \"1\"\n",
        '[[connectors]]\nname = "J2"\nfamily = "dsub9"\ngender = "pin"\n'
        '[[contacts]]\nconnector = "J2"\ncontact = "1"\nrole = "signal"\n'
        '[[contacts]]\nconnector = "J1"\ncontact = "1"\n'),)),
    Fixture("unused_contact", ("P1-8", "W20"), (add_run("W20,P1-8,P2-12,22,1.5,signal,,,,"),)),
    Fixture("unused_contact", ("P1-9", "W20"), (add_run("W20,P1-9,P2-12,22,1.5,signal,,,,"),)),
    Fixture("role_disagrees", ("W9", "P1-5"), ((P, "P2-8,22,1.5,signal", "P2-8,22,1.5,ground"),)),
    Fixture("role_disagrees", ("W8", "P1-3"), ((P, "P2-7,22,1.5,rs232_tx", "P2-7,22,1.5,rs232_rx"),)),
    Fixture("feeds_joined", ("TB1-1", "P3-C"), (
        (H, "nominal_v = 12.0", "nominal_v = 24.0"),
        (LOG, "feed_v = 12.0", "feed_v = 24.0"),
        (CONV, "feed_v = 12.0", "feed_v = 24.0"),
        add_table('[[parts]]\nref = "SW1"\nkind = "switch"\nfrom = "TB1-2"\nto = "P3-C"'),
    )),
    Fixture("feeds_joined", ("TB1-1", "TB1-4"), (add_table(
        '[[parts]]\nref = "SW1"\nkind = "switch"\nfrom = "TB1-2"\nto = "TB1-4"'),)),
    Fixture("wrong_feed", ("P1-1", "NAV"), ((NAV, "feed_v = 24.0", "feed_v = 12.0"),)),
    Fixture("wrong_feed", ("P1-1", "NAV"), ((P, "W1,TB1-2,P1-1", "W1,TB1-3,P1-1"), (H, 'doubles = ["2"]\n', ""))),
    Fixture("mixed_net", ("P2-13", "TB1-1"), (add_run("W20,P2-13,TB1-1,22,1.5,signal,,,,"),)),
    Fixture("can_pair_crossed", ("P1-6", "P2-5"), (
        SPLICES,
        (P, "W6,P1-6,P2-4,22,1.5,can_h", "W6,P1-6,SP2,22,1.5,can_h"),
        (P, "W7,P1-7,P2-5,22,1.5,can_l", "W7,P1-7,SP3,22,1.5,can_l"),
        add_run("W16,SP2,P2-5,22,0.1,can_l,,,,\nW17,SP3,P2-4,22,0.1,can_h,,,,"),
    )),
    Fixture("tx_to_tx", ("P1-4", "P2-6"), (
        SPLICES,
        (NAV, 'role = "rs232_rx"', 'role = "rs232_tx"'),
        add_run("W20,P1-4,SP2,22,0.1,rs232_tx,,,,\nW21,P2-6,SP2,22,1.5,rs232_tx,,,,"),
    )),
    Fixture("link_not_joined", ("P1-3", "P2-6"), ((H, 'rx = "P2-7"', 'rx = "P2-6"'),)),
    Fixture("link_not_joined", ("P2-7",), ((H, 'tx = "P1-3"\nrx = "P2-7"', 'tx = "P2-7"\nrx = "P1-3"'),)),
    Fixture("can_terminators", ("can1",), ((H, 'kind = "terminator"', 'kind = "resistor"'),)),
    Fixture("can_terminators", ("can1",), (  # the bridge that enables the one inside the unit is one contact off
        (P, "B1,P2-10,P2-11,", "B1,P2-10,P2-12,"),
        (LOG, 'contact = "12"\nrole = "signal"', 'contact = "12"\nrole = "bridge"'),
        (LOG, 'contact = "11"\nrole = "bridge"', 'contact = "11"\nrole = "bridge"\nneed = "optional"'),
    )),
    Fixture("can_terminators", ("can1",), (add_table(
        '[[parts]]\nref = "RT2"\nkind = "terminator"\nfrom = "P2-5"\nto = "P2-4"\nohm = 120.0'),)),
    Fixture("node_off_bus", ("CONV",), ((H, 'nodes = ["NAV", "LOG"]', 'nodes = ["NAV", "CONV", "LOG"]'),),
            Database((*DATABASE.messages, DatabaseMessage(0x20, False, "Volts", ("CONV",), 1.0, 2)))),
    Fixture("node_off_bus", ("P3",), ((H, 'adapter_at = "P2"', 'adapter_at = "P3"'),)),
    Fixture("silent_node", ("LOG",), (), Database(DATABASE.messages[:1])),
    Fixture("silent_node", ("can1",), (),
            Database((*DATABASE.messages, DatabaseMessage(0x20, False, "Other", ("ELSE",), None, 2)))),
    Fixture("silent_node", ("CONV",), (),
            Database((*DATABASE.messages, DatabaseMessage(0x20, False, "Volts", ("CONV",), 1.0, 2)))),
    Fixture("chassis_not_wired", ("GND2",), (
        (H, 'chassis = "GND1"', 'chassis = "GND2"'),
        add_table('[[connectors]]\nref = "GND2"\nfamily = "stud"\nzone = "right"'),
    )),
    Fixture("two_bench_feeds", ("TB1-3",), (add_table(
        '[[feeds]]\nname = "spare"\nnominal_v = 24.0\nsource = "TB1-3"\nground = "TB1-4"'),)),
    Fixture("bus_without_messages", ("can1",), (), Database(())),
    Fixture("unproved_part", ("K1",), (add_table(
        '[[parts]]\nref = "K1"\nkind = "relay"\nfrom = "TB1-2"\nto = "TB1-3"'),)),
    Fixture("unproved_part", ("D1",), (  # a unit behind a diode is fed, though no check proves it
        (P, "W1,TB1-2,P1-1", "W1,TB1-3,P1-1"),
        (H, 'doubles = ["2"]\n', ""),
        add_table('[[parts]]\nref = "D1"\nkind = "diode"\nfrom = "TB1-2"\nto = "TB1-3"'),
    )),
    Fixture("no_zone", ("P1",), ((H, 'zone = "left"\n', ""),)),
    Fixture("bridge_roles", ("B2",), (
        (LOG, 'contact = "13"\nrole = "signal"', 'contact = "13"\nrole = "ground"'),
        add_run("B2,P2-12,P2-13,22,0.1,bridge,,,,"),
    )),
    Fixture("shield_without_drain", ("S1",), (SPLICES, (P, "S1,P2-ring,", "S1,SP2,"))),
    Fixture("parallel_runs", ("W8", "W18"), (
        (H, 'zone = "left"\n', 'zone = "left"\ndoubles = ["3"]\n'),
        (H, 'gender = "pin"\n', 'gender = "pin"\ndoubles = ["7"]\n'),
        add_run("W18,P1-3,P2-7,22,1.5,rs232_tx,,,,"),
    )),
    Fixture("needless_double", ("TB1-3",), ((H, 'doubles = ["2"]', 'doubles = ["2", "3"]'),)),
    Fixture("no_gauge", ("W9",), ((P, "P2-8,22,1.5", "P2-8,,1.5"),)),
    Fixture("no_gauge", ("W9",), ((P, "P2-8,22,1.5", "P2-8,22,"),)),
]  # fmt: skip


def test_the_sample_is_clean() -> None:
    assert review(sample()) == ()


@pytest.mark.parametrize("fixture", FIXTURES, ids=lambda f: f"{f.rule}:{f.where[0]}")
def test_a_fixture_breaks_its_rule_alone(fixture: Fixture) -> None:
    found = review(sample(*fixture.changes, database=fixture.database))
    assert {finding.code for finding in found} == {fixture.rule}
    assert fixture.where in [finding.where for finding in found]
    assert all(finding.place.file in (H, P) and finding.place.line for finding in found)


def test_every_rule_has_a_fixture_and_says_everything() -> None:
    rules = all_rules()
    assert set(rules) == {fixture.rule for fixture in FIXTURES}
    for code, rule in rules.items():
        assert type(rule).__module__ == f"benchcheck.harness.review.{code}"
        assert all((rule.title, rule.why, rule.do, rule.source))


def test_what_is_only_planned_counts_on_paper() -> None:
    """A harness that is not wired yet is reviewed as it is to be."""
    whole = sample()
    assert review(replace(whole, runs=tuple(replace(r, state=RunState.PLANNED) for r in whole.runs))) == ()


def test_findings_come_before_warnings() -> None:
    found = review(sample((P, "W3,P1-2,GND1,22,1.2,ground,,,black,\n", ""), (H, 'zone = "left"\n', "")))
    assert [finding.severity for finding in found] == [Severity.FINDING, Severity.WARNING]
    assert found[0].to_json()["line"] == 7


def test_a_code_stands_for_one_rule() -> None:
    class Again(type(all_rules()["no_zone"])):  # type: ignore[misc]
        pass

    with pytest.raises(ValueError, match="no_zone"):
        review_rule(Again)
    assert issubclass(Again, Rule)
