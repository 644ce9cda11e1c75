"""Fixtures of the paper review: for each rule changes to a clean profile that break it and no other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import more_bays
import review_bay
from sample_profile import DATABASE, FILES, Change

from benchcheck.harness.reading.read_harness import Partly, read_partly
from benchcheck.harness.reading.read_tables import Database, DatabaseMessage

H, P = "harness.toml", "pins.csv"
NAV, LOG, CONV = "units/nav.toml", "units/log.toml", "units/conv.toml"
NODE, HEAD, STEP = "units/node.toml", "units/head.toml", "units/step.toml"


@dataclass(frozen=True)
class Fixture:
    """Changes to a clean profile that break one rule and no other, and what the finding must name."""

    rule: str
    where: tuple[str, ...]
    changes: tuple[Change, ...]
    database: Database = DATABASE
    files: Mapping[str, str] = field(default_factory=lambda: FILES)

    def texts(self) -> dict[str, str]:
        """The files of the profile with the changes made; what is changed must be there exactly once."""
        texts = dict(self.files)
        for file, old, new in self.changes:
            assert texts[file].count(old) == 1, f"{old!r} is {texts[file].count(old)} times in {file}"
            texts[file] = texts[file].replace(old, new)
        return texts

    def read(self) -> Partly:
        return read_partly("fixture", self.texts(), databases={"net.dbc": self.database})


def bay(rule: str, where: tuple[str, ...], *changes: Change) -> Fixture:
    """A fixture made of the bay."""
    return Fixture(rule, where, changes, review_bay.DATABASE, review_bay.FILES)


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
        (P, "W8,P1-3,P2-7,22", "W8,P1-3,P2-7,24"),
        (H, 'zone = "left"\n', 'zone = "left"\ndoubles = ["3"]\n'),
        (H, 'gender = "pin"\n', 'gender = "pin"\ndoubles = ["7"]\n'),
        add_run("W18,P1-3,P2-7,24,1.5,rs232_tx,,,,"),
    )),
    Fixture("needless_double", ("TB1-3",), ((H, 'doubles = ["2"]', 'doubles = ["2", "3"]'),)),
    Fixture("no_gauge", ("W9",), ((P, "P2-8,22,1.5", "P2-8,,1.5"),)),
    Fixture("no_gauge", ("W9",), ((P, "P2-8,22,1.5", "P2-8,22,"),)),
    # --- rows of the pin table that are faulty in themselves
    Fixture("contact_unknown", ("P1-22", "W3"), ((P, "W3,P1-2,", "W3,P1-22,"),)),
    Fixture("contact_unknown", ("P9-1", "W8"), ((P, "W8,P1-3,P2-7", "W8,P1-3,P9-1"),)),
    Fixture("contact_unknown", ("P2-44", "W6"), ((P, "W6,P1-6,P2-4,", "W6,P1-6,P2-44,"),)),
    Fixture("contact_used_twice", ("TB1-2", "W2"), ((H, 'doubles = ["2"]\n', ""),)),
    Fixture("contact_used_twice", ("P1-3", "W8"), ((P, "W3,P1-2,", "W3,P1-3,"),)),  # one contact off
    Fixture("contact_used_twice", ("P1-5", "W19"), (add_run("W19,P1-5,P2-8,24,1.5,signal,,,,"),)),
    Fixture("run_with_one_end", ("W3",), ((P, "W3,P1-2,GND1,", "W3,P1-2,,"),)),
    Fixture("run_with_one_end", ("W1",), ((P, "W1,TB1-2,P1-1,", "W1,TB1-2,,"),)),
    Fixture("run_with_one_end", ("W8",), ((P, "W8,P1-3,P2-7,", "W8,,P2-7,"),)),
    Fixture("run_with_one_end", ("W7",), ((P, "W7,P1-7,P2-5,", "W7,P1-7,,"),)),
    Fixture("run_to_itself", ("W9", "P1-5"), ((P, "W9,P1-5,P2-8,", "W9,P1-5,P1-5,"),)),
    Fixture("wire_number_twice", ("W8",), ((P, "W9,P1-5", "W8,P1-5"),)),
    Fixture("wire_number_twice", ("W9",), (add_run("W9,P1-5,P2-8,22,1.5,signal,,,grey,"),)),  # the row twice
    Fixture("shield_unknown", ("W6", "S9"), ((P, "can_h,C1,S1", "can_h,C1,S9"),)),
    Fixture("bridge_between_connectors", ("B2", "P2-12", "TB1-3"), (add_run("B2,P2-12,TB1-3,22,0.1,bridge,,,,"),)),
    # --- contacts
    Fixture("gauge_contact_size", ("P1-3", "W8"), ((P, "W8,P1-3,P2-7,22", "W8,P1-3,P2-7,18"),)),
    Fixture("gauge_contact_size", ("P2-7", "W8"), ((P, "W8,P1-3,P2-7,22", "W8,P1-3,P2-7,26"),)),
    Fixture("gauge_contact_size", ("P2-10", "B1"), ((P, "P2-11,22,0.05", "P2-11,16,0.05"),)),  # a bridge too
    Fixture("gauge_contact_size", ("P3-A", "W2"), ((H, 'family = "circular"\n', 'family = "circular"\ncontact_size = "20"\ncontact_sizes = { A = "12" }\n'),)),
    bay("contact_overfilled", ("PB-6", "W20", "W22"), (P, "W20,PA-6,PB-6,24", "W20,PA-6,PB-6,20")),
    Fixture("run_leads_nowhere", ("W20", "SP2"), (SPLICES, add_run("W20,P2-12,SP2,22,0.5,signal,,,,"))),
    Fixture("run_leads_nowhere", ("W20", "TB1-3"), (add_run("W20,P2-12,TB1-3,22,0.5,signal,,,,"),)),
    # --- RS-232
    bay("tx_to_tx", ("PA-3", "PB-3"), (P, "W30,PA-3,PB-4", "W30,PA-3,PB-3"), (P, "W31,PA-4,PB-3,22,2.0,rs232_rx,C4,,,\n", "")),
    bay("rx_to_rx", ("PC-4", "PD-4"), (P, "W32,", "W33,PC-4,PD-4,22,2.0,rs232_rx,C5,,,\nW32,")),
    bay("link_crossed_twice", ("PA-3", "PB-3", "PA-4", "PB-4"), (P, "W30,PA-3,PB-4", "W30,PA-3,PB-3"), (P, "W31,PA-4,PB-3", "W31,PA-4,PB-4")),
    bay("link_without_return", ("AB", "PB-5"), (P, "W32,PA-5,PB-5,22,2.0,signal,C4,,,\n", "")),
    bay("link_without_return", ("AB", "PB-5"), (P, "W32,PA-5,PB-5", "W32,PC-8,PB-5")),
    bay("link_without_return", ("AB", "PB-8"), (H, 'ground = "PB-5"', 'ground = "PB-8"')),
    bay("link_one_way", ("AB", "PB-3", "PA-4"),
        (P, "W31,PA-4,PB-3,22,2.0,rs232_rx,C4,,,\n", ""), (H, '[[links.talks]]\ntx = "PB-3"\nrx = "PA-4"\n', "")),
    # --- CAN
    bay("can_pair_crossed", ("PB-6", "PA-7"), (P, "W20,PA-6,PB-6", "W20,PA-6,PB-7"), (P, "W21,PA-7,PB-7", "W21,PA-7,PB-6")),
    bay("can_not_a_line", ("can1", "PA-6", "PB-6", "PC-6", "PD-6"),  # a ring
        (P, "W30,", "W26,PD-6,PA-6,24,3.0,can_h,C6,,,\nW27,PD-7,PA-7,24,3.0,can_l,C6,,,\nW30,"),
        (H, 'ref = "PA"\n', 'ref = "PA"\ndoubles = ["6", "7"]\n'), (H, 'ref = "PD"\n', 'ref = "PD"\ndoubles = ["6", "7"]\n')),
    bay("can_not_a_line", ("can1",),  # B and C on a short branch of their own
        (P, "W20,PA-6,PB-6", "W20,PA-6,SPH"), (P, "W21,PA-7,PB-7", "W21,PA-7,SPL"),
        (P, "W24,PC-6,PD-6", "W24,SPH,PD-6"), (P, "W25,PC-7,PD-7", "W25,SPL,PD-7"),
        (P, "W22,PB-6,PC-6,24,3.0", "W26,SPH,PB-6,24,0.3,can_h,C7,,,\nW27,SPL,PB-7,24,0.3,can_l,C7,,,\nW22,PB-6,PC-6,24,0.3"),
        (P, "W23,PB-7,PC-7,24,3.0", "W23,PB-7,PC-7,24,0.3"),
        (H, 'doubles = ["6", "7"] # C\n', "")),
    bay("can_branch_too_long", ("can1", "SPH", "PC-6"),
        (P, "W22,PB-6,PC-6", "W22,PB-6,SPH"), (P, "W23,PB-7,PC-7", "W23,PB-7,SPL"),
        (P, "W24,PC-6,PD-6", "W24,SPH,PD-6"), (P, "W25,PC-7,PD-7", "W25,SPL,PD-7"),
        (P, "W30,", "W26,SPH,PC-6,24,2.0,can_h,C6,,,\nW27,SPL,PC-7,24,2.0,can_l,C6,,,\nW30,"),
        (H, 'doubles = ["6", "7"] # C\n', "")),
    bay("can_terminators", ("can1",), (H, 'ref = "RT2"\nkind = "terminator"', 'ref = "RT2"\nkind = "resistor"')),
    bay("can_terminators_not_at_ends", ("can1", "PD-6"),
        (H, 'from = "PD-6"\nto = "PD-7"', 'from = "PC-6"\nto = "PC-7"')),
    bay("can_terminators_not_at_ends", ("can1", "PA-6"),
        (H, 'from = "PA-6"\nto = "PA-7"', 'from = "PD-7"\nto = "PD-6"')),
    bay("can_too_long", ("can1",), (P, "W22,PB-6,PC-6,24,3.0", "W22,PB-6,PC-6,24,250"), (P, "W23,PB-7,PC-7,24,3.0", "W23,PB-7,PC-7,24,250")),
    bay("can_too_long", ("can1",), (H, "bitrate = 250000", "bitrate = 1000000"),  # 45 m at 1 Mbit/s
        (P, "W22,PB-6,PC-6,24,3.0", "W22,PB-6,PC-6,24,39"), (P, "W23,PB-7,PC-7,24,3.0", "W23,PB-7,PC-7,24,39")),
    bay("can_pair_split", ("W22", "W23"), (P, "can_l,C2", "can_l,C9")),
    bay("can_pair_split", ("W22", "W23"), (P, "can_l,C2", "can_l,"), (P, "can_h,C2", "can_h,")),
    Fixture("buses_joined", ("a", "b", "P1-2"), (  # two splices that were to be four
        (H, '[[connectors]]\nref = "GND1"', '[[connectors]]\nref = "SP1"\nfamily = "splice"\n[[connectors]]\nref = "GND1"'),
        (P, "W10,P1-1,P2-1,24,5.0,can_h,CA,,,", "W10,P1-1,SP1,24,4.9,can_h,CA,,,\nW14,SP1,P2-1,24,0.1,can_h,CA,,,"),
        (P, "W12,P1-2,P2-2,24,5.0,can_h,CB,,,", "W12,P1-2,SP1,24,4.9,can_h,CB,,,\nW15,SP1,P2-2,24,0.1,can_h,CB,,,"),
    ), more_bays.databases(more_bays.REDUNDANT)["n.dbc"], {k: t.replace("n.dbc", "net.dbc") for k, t in more_bays.REDUNDANT.items()}),
    bay("part_leads_nowhere", ("CB2", "TB1-3"), (P, "W5,TB1-3,P5-A,18", "W5,TB1-1,P5-A,18")),  # its protector by-passed
    bay("can_node_order", ("can1",), (H, '["A", "B", "C", "D"]', '["A", "C", "B", "D"]')),
    bay("node_off_bus", ("A", "B"),  # a piece forgotten between two contacts that hold another one each
        (P, "W22,PB-6,PC-6,24,3.0,can_h,C2,,,\n", "")),
    # --- shields
    bay("shield_drained_at_both_ends", ("S1", "C1"), (P, "S1,PA-ring,,", "S1,PA-ring,PB-ring,")),
    bay("shield_drained_at_one_end", ("S1", "C1"), (H, 'drained = "one_end"', 'drained = "both_ends"')),
    bay("shield_not_along_core", ("W20", "S1"), (P, "can_h,C1,S1", "can_h,C1,")),
    bay("shield_not_along_core", ("S1", "PC-ring"), (P, "S1,PA-ring,,", "S1,PC-ring,,")),
    bay("shield_not_along_core", ("W30", "S1"), (P, "rs232_tx,C4,", "rs232_tx,C4,S1")),
    Fixture("shield_without_drain", ("S1",), ((P, "S1,P2-ring,,", "S1,,,"),)),  # the row says so itself
    bay("shield_without_drain", ("S1",), (P, "S1,PA-ring,,", "S1,,,")),
    bay("shield_without_drain", ("C4",), (H, "[[cables]]\n", '[[cables]]\nname = "C4"\ndrained = "one_end"\n\n[[cables]]\n')),
    bay("shield_cut_back_too_far", ("C1",), (H, "unshielded_mm = 80", "unshielded_mm = 101")),
    bay("shield_cut_back_too_far", ("C1",), (H, "unshielded_mm = 80\ndrain_mm = 120", "unshielded_mm = 21\nsensitive = true")),
    bay("drain_too_long", ("C1",), (H, "drain_mm = 120", "drain_mm = 151")),
    bay("drain_too_long", ("C1",), (H, "unshielded_mm = 80\ndrain_mm = 120", "unshielded_mm = 20\ndrain_mm = 41\nsensitive = true")),
    # --- power
    bay("protector_too_large", ("CB1", "W2"), (H, "rating_a = 5.0", "rating_a = 6.0")),
    bay("protector_too_large", ("CB1", "W2"), (H, "rating_a = 5.0", "rating_a = 3.0"), (P, "W2,SP1,PA-1,22", "W2,SP1,PA-1,24")),
    bay("protector_overloaded", ("CB1",), (H, "rating_a = 5.0", "rating_a = 1.0")),
    bay("wire_overloaded", ("W1",), (P, "W1,TB1-2,SP1,20", "W1,TB1-2,SP1,22"), (NODE, "load_a = 0.5", "load_a = 1.1")),
    bay("wire_overloaded", ("W13",), (P, "W13,TB1-4,GND1,16", "W13,TB1-4,GND1,20")),  # the return
    bay("voltage_drop", ("PA-1", "14V"), (P, "W1,TB1-2,SP1,20,0.5", "W1,TB1-2,SP1,20,30")),
    bay("voltage_drop", ("PD-1", "28V"), (P, "W10,PD-2,GND1,20,0.5", "W10,PD-2,GND1,20,40")),  # the return
    bay("converter_input", ("STEP", "CB2"), (H, "rating_a = 7.5", "rating_a = 3.0")),  # enough for its output
    bay("converter_input", ("STEP", "W5"), (P, "W5,TB1-3,P5-A,18", "W5,TB1-3,P5-A,20")),
    bay("converter_input", ("STEP", "W11"), (P, "W11,P5-B,GND1,18", "W11,P5-B,GND1,20")),  # its return
    bay("converter_without_efficiency", ("STEP",), (STEP, "efficiency = 0.9\n", "")),
    bay("no_ground_return", ("D", "PD-2"), (P, "W10,PD-2,GND1", "W10,PD-2,GND2")),
    bay("no_ground_return", ("TB1-4",), (P, "W13,TB1-4,GND1", "W13,TB1-4,GND2")),
    # --- one mistake, one finding
    bay("mixed_net", ("PA-1", "PA-8"), (P, "W2,SP1,PA-1,", "W14,SP1,PA-8,22,0.5,power,,,,\nW2,SP1,PA-1,")),
    bay("feeds_joined", ("TB1-1", "P5-C"), (P, "W6,", "W14,SP1,PD-1,22,0.5,power,,,,\nW6,"), (H, 'ref = "PD"\n', 'ref = "PD"\ndoubles = ["1"]\ncontact_sizes = { 1 = "16" }\n')),
    bay("bridge_roles", ("B1",), (P, "W30,", "B1,PC-8,PC-3,22,0.1,bridge,,,,\nW30,")),
    bay("forgotten_run", ("PC-6",), (P, "W22,PB-6,PC-6,24,3.0,can_h,C2,,,\nW23", "W23"), (P, "W24,PC-6,PD-6", "W24,PB-6,PD-6")),
    bay("forgotten_run", ("PA-1",), (P, "W2,SP1,PA-1,22,0.5,power,,,,\n", "")),
    bay("forgotten_run", ("PD-2",), (P, "W10,PD-2,GND1,20,0.5,ground,,,,\n", "")),
]  # fmt: skip
