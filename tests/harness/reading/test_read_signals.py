"""[[signals]] of harness.toml: looked up in the database, and every fault told at its place."""

from __future__ import annotations

import pytest
from sample_profile import Change, changed, sample

from benchcheck.harness.difference.flat_fields import flat, profile_flat
from benchcheck.harness.model import Harness
from benchcheck.harness.reading.read_harness import read_harness
from benchcheck.harness.reading.read_tables import Database, DatabaseMessage
from benchcheck.words.errors import FaultyFiles, FileFault
from benchcheck.words.signal import Field, Selector, Signal

SPEED = Signal("Speed", Field(0, 16), 0.01, 0.0, "m/s")
DATABASE = Database((DatabaseMessage(0x100, False, "Fix", ("NAV",), 0.2, 8, (SPEED, Signal("Course", Field(16, 16)))),))
GOOD = '[[signals]]\nbus = "can1"\nmessage = "Fix"\nsignal = "Speed"\nlow = 0\nhigh = 12.5\nstuck_s = 5\n'


def added(text: str) -> Change:
    return ("harness.toml", '[[connectors]]\nref = "P1"\n', f'{text}[[connectors]]\nref = "P1"\n')


def faults(text: str, *more: Change) -> tuple[FileFault, ...]:
    try:
        read_harness("sample", changed(added(text), *more), databases={"net.dbc": DATABASE})
    except FaultyFiles as faulty:
        return faulty.faults
    return ()


def test_an_expectation_is_read_with_its_message_and_signal() -> None:
    harness: Harness = sample(added(GOOD), database=DATABASE)
    (found,) = harness.signals
    assert (found.bus, found.name, found.low, found.high, found.stuck_s) == ("can1", "Fix.Speed", 0.0, 12.5, 5.0)
    assert (found.signal, found.message.sender, found.message.period_s) == (SPEED, "NAV", 0.2)
    assert found.limits_text == "at least 0 m/s, at most 12.5 m/s, unchanged for less than 5 s"
    assert sample(database=DATABASE).signals == ()


@pytest.mark.parametrize(
    ("old", "new", "text", "hint"),
    [
        ('"can1"', '"can2"', "bus: 'can2' is not in harness.toml", "can1"),
        ('"Fix"', '"Fux"', "message: 'Fux' is not in net.dbc", "Fix"),
        ('"Speed"', '"Sped"', "signal: 'Sped' is not in message 'Fix' of net.dbc", "Speed"),
        ("low = 0", "low = 13", "low: 13 is above high, 12.5", "Exchange"),
        ("low = 0\nhigh = 12.5\nstuck_s = 5", "", "nothing is expected of signal 'Speed'", "Give low, high or stuck_s"),
        ("stuck_s = 5", "stuck_s = 0", "stuck_s: 0 is too small: more than 0 seconds is wanted", ""),
        ("stuck_s = 5", "stuk_s = 5", "unknown key", "stuck_s"),
    ],
)
def test_each_fault_is_told(old: str, new: str, text: str, hint: str) -> None:
    assert GOOD.count(old) == 1
    (fault,) = faults(GOOD.replace(old, new))
    assert text.replace("'", "").replace('"', "") in fault.text.replace("'", "").replace('"', ""), fault
    assert hint in fault.hint
    assert fault.place.line is not None


def test_a_signal_is_told_of_once() -> None:
    (fault,) = faults(GOOD + GOOD)
    assert "is there twice" in fault.text


def test_a_bus_without_a_database_knows_no_signals() -> None:
    (fault,) = faults(GOOD, ("harness.toml", 'network = "net.dbc"\n', ""))
    assert "has no message database" in fault.text


def test_what_changed_of_it_is_seen_from_one_profile_to_the_next() -> None:
    old = sample(added(GOOD), database=DATABASE)
    new = sample(added(GOOD.replace("high = 12.5", "high = 15")), database=DATABASE)
    assert profile_flat(old)["signal can1 Fix.Speed"].endswith("at most 12.5 m/s, unchanged for less than 5 s")
    assert profile_flat(new)["signal can1 Fix.Speed"].endswith("at most 15 m/s, unchanged for less than 5 s")
    texts = [text for heading, text in flat(old.buses[0]).items() if heading.endswith("signals")]
    assert texts == [
        "Speed: 16 bits from bit 0, Intel, unsigned, times 0.01 plus 0 m/s, "
        "Course: 16 bits from bit 16, Intel, unsigned, times 1 plus 0"
    ]


def test_a_multiplexed_signal_says_where_it_is() -> None:
    paged = Signal("Deep", Field(23, 12, False, True), when=(Selector(Field(0, 4), (1, 3)),))
    assert paged.text == (
        "Deep: 12 bits from bit 23, Motorola, signed, times 1 plus 0, where 4 bits from bit 0 are one of 1 3"
    )
