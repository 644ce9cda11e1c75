"""Values in simulated frames: as cantools reads them, within the profile's limits, and with the faults that are planted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cantools
import pytest
from model_bench import Job, job_on, shipped

from benchcheck.checks.kind import Context
from benchcheck.harness.bus_source import BusSource
from benchcheck.harness.model import Message, SignalRange
from benchcheck.plan.plan import make_plan
from benchcheck.simulator.fault_file import parse_faults
from benchcheck.simulator.faults import AbsurdSignal, Fault, StuckSignal
from benchcheck.simulator.payloads import Course, course_of, payload, put
from benchcheck.simulator.said import said_on
from benchcheck.words.errors import FaultyFiles
from benchcheck.words.meter import MeterSpec
from benchcheck.words.signal import Field, Selector, Signal

DATABASE = Path(__file__).parents[2] / "profiles" / "survey_launch" / "launch.dbc"
HARNESS = shipped("survey_launch")[0]
MESSAGES = {message.name: message for message in HARNESS.buses[0].messages}


@pytest.mark.parametrize("share", [0.25, 0.5, 0.9])
def test_what_is_put_is_what_cantools_reads(share: float) -> None:
    """Every plain signal of the launch, Intel and Motorola order, signed and not."""
    database: Any = cantools.database.load_file(DATABASE)
    seen = 0
    for theirs in database.messages:
        for signal in MESSAGES[theirs.name].signals:
            bounds = theirs.get_signal_by_name(signal.name)
            value = bounds.minimum + share * (bounds.maximum - bounds.minimum)
            data = bytearray(b"\xa5" * theirs.length)
            before = theirs.decode(bytes(data), decode_choices=False)
            put(data, signal, value)
            after = theirs.decode(bytes(data), decode_choices=False)
            assert after.pop(signal.name) == pytest.approx(value, abs=abs(signal.factor) / 2 + 1e-9)
            before.pop(signal.name)
            assert after == before  # no other bit is touched
            seen += 1
    assert seen > 60


def test_a_float_and_what_cannot_be_put() -> None:
    data = bytearray(4)
    put(data, Signal("A", Field(0, 32, is_float=True)), 1.5)
    assert bytes(data) == b"\x00\x00\xc0\x3f"  # IEEE 754
    put(data, Signal("A", Field(0, 8, signed=True)), 1000.0)
    assert data[0] == 0x7F  # as near as it goes
    kept = bytes(data)
    put(data, Signal("A", Field(30, 8)), 1.0)
    put(data, Signal("A", Field(0, 8), when=(Selector(Field(8, 8), (1,)),)), 1.0)
    assert bytes(data) == kept


def test_a_course_stays_well_within_its_limits_and_moves() -> None:
    signal = MESSAGES["MRU_ATTITUDE"].signals[0]
    for low, high in ((-45.0, 45.0), (2.0, None), (None, -3.0), (None, None)):
        course = course_of(SignalRange("can1", MESSAGES["MRU_ATTITUDE"], signal, low, high, 1.0))
        values = [course.value(k) for k in range(200)]
        assert low is None or min(values) > low
        assert high is None or max(values) < high
        assert len({round(value / signal.factor) for value in values}) > 10
    assert {Course(signal, 7.0, 0.0).value(k) for k in range(9)} == {7.0}
    assert len(payload(MESSAGES["TIDE_RADIO"], 5, ())) == 3


def job(*faults: Fault) -> Job:
    made = job_on(*shipped("survey_launch"), faults)
    made.run()
    return made


def signals(made: Job) -> dict[str, tuple[str, str]]:
    results = made.runner.board.results.values()
    return {
        str(r.step.settings["signal"]): (r.verdict.outcome.value, r.verdict.reason)
        for r in results
        if r.step.check == "signal_range"
    }


def test_every_signal_of_the_sound_bench_passes() -> None:
    found = signals(job())
    assert len(found) == len(HARNESS.signals) > 8
    assert set(found.values()) == {("PASS", "in_range")}


def test_a_stuck_and_an_absurd_value_fail_and_are_named() -> None:
    made = job(StuckSignal("can1", "MRU_ATTITUDE", "Roll"), AbsurdSignal("can1", "SVP_WATER", "WaterTemperature", -3.9))
    failed = {name: said for name, said in signals(made).items() if said[0] != "PASS"}
    assert failed == {"MRU_ATTITUDE.Roll": ("FAIL", "stuck"), "SVP_WATER.WaterTemperature": ("FAIL", "absurd")}
    assert set(made.squawks) == {
        ("stuck_signal", ("MRU", "can1", "MRU_ATTITUDE.Roll")),
        ("absurd_signal", ("SVP", "can1", "SVP_WATER.WaterTemperature")),
    }
    assert {fault.where(HARNESS) for fault in made.bench.model.faults} == {where for _, where in made.squawks}


@pytest.mark.parametrize(
    ("keys", "text", "hint"),
    [
        ('bus = "can2"\nmessage = "SVP_SOUND"\nsignal = "SoundSpeed"', "no bus 'can2'", "can1"),
        ('bus = "can1"\nmessage = "SVP_SOND"\nsignal = "SoundSpeed"', "no message 'SVP_SOND'", "SVP_SOUND"),
        ('bus = "can1"\nmessage = "SVP_SOUND"\nsignal = "SoundSped"', "no signal 'SoundSped'", "SoundSpeed"),
        ('bus = "can1"\nmessage = "SVP_SOUND"', "stuck_signal needs 'signal'", "Give signal"),
    ],
)
def test_a_fault_that_cannot_be_planted_is_told(keys: str, text: str, hint: str) -> None:
    with pytest.raises(FaultyFiles) as caught:
        parse_faults(f'[[faults]]\nkind = "stuck_signal"\n{keys}\n', HARNESS)
    (fault,) = caught.value.faults
    assert text in fault.text
    assert hint in fault.hint


def test_a_unit_that_only_a_source_tells_of_speaks_on_the_simulated_bench() -> None:
    """The launch whose database knows no sender: every unit is heard by its source alone, in each of the ways."""
    bus = HARNESS.buses[0]
    sources = (
        BusSource("PMON", address=0x01, extended=True, period_s=1.0),
        BusSource("WINCH", can_id=0x300, mask=0x7F0, period_s=0.1),
        BusSource("SONAR", can_id=0x121, period_s=0.05),
        BusSource("SVP", group=0x0FEF5, extended=True, period_s=0.1),
        BusSource("MRU", group=0x0A103, address=0x05, extended=True, period_s=0.5),
        BusSource("NAV", can_id=0x110, byte=3, value=0x42, period_s=0.1),
        BusSource("LOG", can_id=0x111, period_s=None),
        BusSource("HELM", can_id=0x160, period_s=0.05, instead=True),
        BusSource("TIDE", can_id=0x12345678, extended=True, period_s=0.2),
    )
    harness = replace(HARNESS, buses=(replace(bus, messages=(), sources=sources),), signals=())
    made = job_on(harness, make_plan(harness, MeterSpec()), Context(harness, MeterSpec()))
    made.run()
    results = {
        r.step.id: r.verdict
        for r in made.runner.board.results.values()
        if r.step.check.startswith(("unit_heard", "bus_str"))
    }
    assert {name: verdict.outcome.value for name, verdict in results.items()} == {
        **{f"unit_heard:can1:{unit}": "PASS" for unit in bus.nodes},
        "bus_strangers:can1": "PASS",
    }


def test_the_database_and_sources_that_stand_beside_it() -> None:
    messages = (
        Message(0x100, False, "A", "NAV", 0.1, 4),
        Message(0x101, False, "B", "", 0.1),
        Message(0x102, False, "C", "LOG", 0.1),
    )
    sources = (
        BusSource("NAV", can_id=0x100, period_s=0.5),
        BusSource("HELM", can_id=0x101),
        BusSource("LOG", can_id=0x200, period_s=1.0, instead=True),
    )
    said = said_on(replace(HARNESS.buses[0], messages=messages, sources=sources))
    assert [(m.can_id, m.sender, m.period_s, m.length) for m in said] == [
        (0x100, "NAV", 0.5, 4),
        (0x101, "HELM", 0.1, 8),
        (0x200, "LOG", 1.0, 8),
    ]
