"""Each rule of the paper review finds its own fixture, and no other rule does."""

from __future__ import annotations

import pytest
from sample_profile import DATABASE, Change, sample

from benchcheck.harness.read_tables import Database, DatabaseMessage
from benchcheck.harness.review.rule import Severity, all_rules, review

H, P = "harness.toml", "pins.csv"

# code -> (changes to the sample that break this rule and no other, what `where` must name)
FIXTURES: dict[str, list[tuple[list[Change], tuple[str, ...]]]] = {
    "forgotten_run": [
        ([(P, "W3,P1-2,GND1,22,1.2,ground,,,black,\n", "")], ("P1-2",)),
        (
            [
                (H, 'unit = "CONV"\nunit_connector = "J1"\n', ""),
                (H, 'converter = "CONV"\n', ""),
            ],
            ("CONV",),
        ),
    ],
    "unused_contact": [
        ([(P, "B1,", "W20,P1-8,P2-12,22,1.5,signal,,,,\nB1,")], ("P1-8", "W20")),
        ([(P, "B1,", "W20,P1-9,P2-12,22,1.5,signal,,,,\nB1,")], ("P1-9", "W20")),
    ],
    "role_disagrees": [
        ([(P, "P2-8,22,1.5,signal", "P2-8,22,1.5,ground")], ("W9", "P1-5")),
        ([(P, "P2-7,22,1.5,rs232_tx", "P2-7,22,1.5,rs232_rx")], ("W8", "P1-3")),
    ],
    "feeds_joined": [
        (
            [
                (H, 'source = "P3-C"\nground = "P3-D"\nconverter = "CONV"\n', 'source = "TB1-2"\nground = "P3-D"\n'),
                (H, "nominal_v = 12.0", "nominal_v = 24.0"),
                ("units/log.toml", "feed_v = 12.0", "feed_v = 24.0"),
                (P, "W11,SP1,P2-1,20,0.5,power,,,red,\n", "W11,TB1-3,P2-1,20,0.5,power,,,red,\n"),
                (P, "W10,P3-C,SP1,", "W10,P3-C,TB1-3,"),
                (H, 'doubles = ["2"]', 'doubles = ["2", "3"]'),
                (H, '[[parts]]\nref = "RT1"', '[[parts]]\nref = "SW1"\nkind = "switch"\nfrom = "TB1-2"\nto = "TB1-3"\n'
                 '[[parts]]\nref = "RT1"'),
            ],
            ("TB1-1", "TB1-2"),
        ),
    ],
    "wrong_feed": [
        ([("units/nav.toml", "feed_v = 24.0", "feed_v = 12.0")], ("P1-1", "NAV")),
        ([(P, "W1,TB1-2,P1-1", "W1,TB1-3,P1-1"), (H, 'doubles = ["2"]\n', "")], ("P1-1", "NAV")),
    ],
    "mixed_net": [
        ([(P, "B1,", "W20,P2-13,TB1-1,22,1.5,signal,,,,\nB1,")], ("P2-13", "TB1-1")),
    ],
    "can_pair_crossed": [
        (
            [
                (P, "W6,P1-6,P2-4", "W6,P1-6,P2-5"),
                (P, "W7,P1-7,P2-5", "W7,P1-7,P2-4"),
                (P, "P2-5,22,1.5,can_h", "P2-5,22,1.5,can_h"),
            ],
            ("P1-6", "P2-5"),
        ),
    ],
    "tx_to_tx": [],
    "link_not_joined": [],
    "can_terminators": [
        ([(H, '[[parts]]\nref = "RT1"\nkind = "terminator"', '[[parts]]\nref = "RT1"\nkind = "resistor"')], ("can1",)),
        ([(P, "B1,P2-10,P2-11,", "B1,P2-10,P2-12,"), ("units/log.toml", 'contact = "12"\nrole = "signal"', 'contact = "12"\nrole = "bridge"'),
          ("units/log.toml", 'contact = "11"\nrole = "bridge"', 'contact = "11"\nrole = "bridge"\nneed = "optional"')], ("can1",)),
    ],
    "node_off_bus": [],
    "silent_node": [],
    "no_zone": [([(H, 'zone = "left"\n', "")], ("P1",))],
    "bridge_roles": [],
    "shield_without_drain": [],
    "parallel_runs": [],
    "needless_double": [],
    "no_gauge": [([(P, "P2-8,22,1.5", "P2-8,,1.5")], ("W9",)), ([(P, "P2-8,22,1.5", "P2-8,22,")], ("W9",))],
}
