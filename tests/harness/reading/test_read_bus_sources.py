"""[[buses.sources]] and data_bitrate of harness.toml: read whole, and every fault told at its line with a hint."""

from __future__ import annotations

import pytest
from sample_profile import Change, faults, sample

from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.difference.flat_fields import flat
from benchcheck.harness.reading.read_tables import Database, DatabaseMessage
from benchcheck.harness.review.bus_without_messages import BusWithoutMessages
from benchcheck.harness.review.silent_node import SilentNode
from benchcheck.harness.review.view import View
from benchcheck.readiness.due_again import due_again

NETWORK = 'network = "net.dbc"\n'


def added(*tables: str) -> Change:
    return ("harness.toml", NETWORK, NETWORK + "".join(f"[[buses.sources]]\n{table}\n" for table in tables))


def test_each_way_to_tell_a_unit_is_read() -> None:
    harness = sample(
        added(
            'unit = "NAV"\nid = 0x1A0\nperiod_s = 0.05',
            'unit = "NAV"\nid = 0x300\nmask = 0x7F0\nmulti_frame = true',
            'unit = "LOG"\naddress = 0x23\nperiod_s = 1\ninstead = true',
            'unit = "LOG"\ngroup = 0x1F805\naddress = 0x24',
            'unit = "LOG"\nid = 0x7\nextended = true\nbyte = 0\nvalue = 0x42',
        )
    )
    found = harness.buses[0].sources
    assert [source.text for source in found] == [
        "identifier 1A0",
        "identifier 300, mask 7F0",
        "source address 23",
        "parameter group 1F805, source address 24",
        "identifier 00000007, byte 0 = 42",
    ]
    assert [source.is_one_identifier for source in found] == [True, False, False, False, False]
    assert [source.period_s for source in found] == [0.05, None, 1.0, None, None]
    assert [source.extended for source in found] == [False, False, True, True, True]
    assert (found[1].multi_frame, found[2].instead) == (True, True)
    assert all(source.place.line for source in found)
    assert sample().buses[0].sources == ()


def test_a_full_mask_is_none_and_a_long_identifier_is_extended() -> None:
    found = sample(added('unit = "NAV"\nid = 0x1A0\nmask = 0x7FF', 'unit = "NAV"\nid = 0x9F80102')).buses[0].sources
    assert [(source.mask, source.extended, source.is_one_identifier) for source in found] == [
        (None, False, True),
        (None, True, True),
    ]


@pytest.mark.parametrize(
    ("table", "text", "hint"),
    [
        ('unit = "NAX"\nid = 1', "unit 'NAX' is not in harness.toml", "NAV"),
        ('unit = "CONV"\nid = 1', "unit: 'CONV' is no node of bus 'can1'", "Nodes: NAV, LOG"),
        ('unit = "NAV"\nperiod_s = 1', "nothing says how 'NAV' is told", "Give id"),
        ('unit = "NAV"\nid = 1\naddress = 2', "address: id is given too", "one of them"),
        ('unit = "NAV"\ngroup = 0x1F805\nmask = 2', "mask: there is no id", "Give id"),
        ('unit = "NAV"\nid = 0x800\nextended = false', "800 has more than 11 bits", "extended"),
        ('unit = "NAV"\nid = 0x100\nmask = 0x1FFF0000', "more than the 11 bits of identifier 100", "extended = true"),
        ('unit = "NAV"\nid = 0x10F\nmask = 0x7F0', "has bits that mask 7F0 leaves out", "0x100"),
        ('unit = "NAV"\nid = 0\nmask = 0', "takes every identifier", "Say which"),
        ('unit = "NAV"\nid = 1\nbyte = 0', "byte: there is no value", "which data byte"),
        ('unit = "NAV"\nid = 1\nvalue = 0', "value: there is no byte", "which data byte"),
        # SAE J1939-21: below F0 the low byte of the group is a destination (from memory)
        ('unit = "NAV"\ngroup = 0x0EF01', "group: 0EF01 can't be", "0x0EF00"),
        (
            'unit = "NAV"\naddress = 254',
            "address: 254 is too",
            "",
        ),  # 254 and 255 are no unit's (SAE J1939-81; from memory)
        ('unit = "NAV"\nid = 1\nperiod_s = 0', "period_s: 0 is too small", ""),
        ('unit = "NAV"\nid = 1\nperiod = 1', "unknown key", "period_s"),
        ('unit = "LOG"\nid = 0x100', "id: identifier 100 is 'Fix' of NAV by net.dbc", "collide"),
    ],
)
def test_each_fault_is_told_at_its_line(table: str, text: str, hint: str) -> None:
    (fault,) = faults(added(table))
    assert text.replace("'", "") in fault.text.replace("'", ""), fault
    assert hint in fault.hint
    assert fault.place.line is not None


def test_two_units_told_alike_and_one_told_twice_are_faults() -> None:
    table = 'unit = "NAV"\naddress = 0x23'
    (other,) = faults(added(table, table.replace("NAV", "LOG")))
    assert "source address 23 is there twice" in other.text
    assert "can't tell NAV from LOG" in other.hint
    (same,) = faults(added(table, table))
    assert same.hint == "Write it once."


def test_the_second_bit_rate_is_read_and_not_below_the_first() -> None:
    rate: Change = ("harness.toml", "bitrate = 250000\n", "bitrate = 250000\ndata_bitrate = 2000000\n")
    assert sample(rate).buses[0].data_bitrate == 2_000_000
    assert sample().buses[0].data_bitrate is None
    (fault,) = faults((*rate[:2], rate[2].replace("2000000", "125000")))
    assert "data_bitrate: 125000 is below bitrate, 250000" in fault.text
    assert fault.place.line is not None


def test_a_changed_source_is_a_difference_of_its_bus() -> None:
    before, now = (flat(sample(added(f'unit = "NAV"\nid = 0x1A0\nperiod_s = {p}')).buses[0]) for p in (0.1, 0.2))
    assert {key: now[key] for key in now if before[key] != now[key]} == {"source NAV by identifier 1A0 period_s": "0.2"}


def test_a_unit_that_has_a_source_is_no_silent_node() -> None:
    def hits(*changes: Change) -> list[str]:
        view = View(sample(*changes))
        return [hit.text for rule in (SilentNode(), BusWithoutMessages()) for hit in rule.hits(view)]

    bare: Change = ("harness.toml", NETWORK, "")
    assert hits(bare) == ["can1: no message of it is known"]
    (told,) = hits(("harness.toml", NETWORK, '[[buses.sources]]\nunit = "NAV"\naddress = 2\n'))
    assert told.startswith("can1: no message of LOG")


def test_the_words_for_a_source_tell_what_it_is() -> None:
    source = BusSource("NAV", group=0x1F805, extended=True)
    assert source.text == "parameter group 1F805"


def test_a_source_says_who_sends_a_message_of_the_database_and_how_often() -> None:
    nobody = Database(
        (DatabaseMessage(0x100, False, "Fix", ("ELSE",), None, 8), DatabaseMessage(0x101, False, "B", (), 1.0, 8))
    )
    change = added('unit = "LOG"\nid = 0x100\nperiod_s = 0.2', 'unit = "NAV"\nid = 0x101')
    found = sample(change, database=nobody).buses[0].messages
    assert [(message.name, message.sender, message.period_s) for message in found] == [
        ("Fix", "LOG", 0.2),
        ("B", "NAV", 1.0),
    ]
    assert [message.sender for message in sample(database=nobody).buses[0].messages] == ["", ""]


def test_a_changed_source_makes_the_live_steps_of_its_bus_due_again() -> None:
    before, now = (sample(added(f'unit = "NAV"\nid = 0x1A0\nperiod_s = {p}')) for p in (0.1, 0.2))
    due = due_again(before, now)
    assert {name.split(":")[0] for name in due.again} == {"unit_heard", "bus_load", "bus_errors", "bus_strangers"}
