"""Lines of the live stage through the real drivers: a pseudo-terminal's other end sees the speed that is set."""

from __future__ import annotations

from pathlib import Path

import pytest
from live_bench import live_bench

from benchcheck.bench.bench import Bench
from benchcheck.bench.config import config_from_mapping
from benchcheck.harness.power import main_feed, plug_order, units_in
from benchcheck.jobs.listening.hearing import Hearing
from benchcheck.jobs.operator import SimulatedOperator
from benchcheck.profile.load import load_profile
from benchcheck.simulator.launch import start
from benchcheck.traffic.lines.line_speed import SpeedSaid

STARTER = Path(__file__).parents[3] / "profiles" / "starter"

FAULTS = """
[[faults]]
kind = "wrong_baud"
link = "position"
sender = "GNSS"
baud = 19200

[[faults]]
kind = "inverted_levels"
contact = "P108-7"
"""


@pytest.fixture(scope="module")
def heard(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, object]]:
    """What was heard of three talkers on one bench: at another speed, with inverted levels, as planned."""
    with live_bench(tmp_path_factory.mktemp("bench"), FAULTS, taps=4) as (_, bench, harness):
        assert bench.hands is not None
        hearing = Hearing(harness, bench, acknowledge=True)
        hearing.start()
        hearing.powered_on()
        operator = SimulatedOperator(bench.hands)
        found = {}
        for link in harness.links[:3]:
            talk = link.talks[0]
            reading = hearing.line(operator, link.name, talk.sender, talk.tx, link.ground)
            found[link.name] = {**reading.detail, "bytes_heard": reading.value}
        hearing.stop()
        assert bench.line("tap1").baud == harness.links[2].baud  # the next talker is listened to at its own speed
        return found


def test_the_speed_is_found_over_a_pseudo_terminal(heard: dict[str, dict[str, object]]) -> None:
    speed = SpeedSaid.from_json(heard["position"]["speed"])
    assert speed is not None
    assert (speed.state, speed.baud, speed.framing, speed.as_planned) == ("found", 19200, "8N1", False)
    assert speed.text.startswith("looks like 19200 8N1, profile says 4800 8N1: ")


def test_the_next_line_is_heard_as_planned(heard: dict[str, dict[str, object]]) -> None:
    assert heard["heading"]["speed"] is None
    assert set(heard["heading"]["types_sound"]) == {"HEHDT", "HEROT"}  # type: ignore[call-overload]
    rates = heard["heading"]["rates"]
    assert [entry["pace"] for entry in rates] == ["in time", "in time"]  # type: ignore[union-attr, index, attr-defined]


def test_inverted_levels_are_garbage_at_every_speed(heard: dict[str, dict[str, object]]) -> None:
    assert heard["tide"]["bytes_heard"]
    speed = SpeedSaid.from_json(heard["tide"]["speed"])
    assert speed is not None
    assert speed.state == "unclear"


def test_the_speed_is_found_over_tcp_too(tmp_path: Path) -> None:
    """There the simulated bench can't see what the port is set to, and is told."""
    harness = load_profile(STARTER)
    (tmp_path / "faults.toml").write_text(
        '[[faults]]\nkind = "wrong_baud"\nlink = "position"\nsender = "GPS"\nbaud = 9600\n', encoding="utf-8"
    )
    state = units_in(harness, plug_order(harness))
    link = harness.links[0]
    talk = link.talks[0]
    with (
        start(STARTER, faults=tmp_path / "faults.toml", transport="tcp") as simulated,
        Bench(config_from_mapping(simulated.description)) as bench,
    ):
        assert bench.hands is not None
        feed = main_feed(harness)
        assert feed is not None
        bench.hands.bring_to(state)
        bench.supply.set(feed.nominal_v, feed.limit_a)
        bench.supply.on()
        hearing = Hearing(harness, bench, acknowledge=True)
        hearing.start()
        hearing.powered_on()
        reading = hearing.line(SimulatedOperator(bench.hands), link.name, talk.sender, talk.rx, link.ground)
        hearing.stop()
    speed = SpeedSaid.from_json(reading.detail["speed"])
    assert speed is not None
    assert (speed.state, speed.baud) == ("found", 9600)
