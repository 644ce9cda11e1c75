"""The drivers against the simulated bench, in its own process, over both of its transports."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from bench_stand_ins import until

from benchcheck.bench.bench import Bench
from benchcheck.bench.config import config_from_mapping
from benchcheck.bench.link import LinkState
from benchcheck.profile.load import load_profile
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import LinkLost, SetupError
from benchcheck.words.reading import ReadingState

PROFILE = Path(__file__).parents[2] / "profiles" / "survey_launch"


@pytest.fixture(scope="module")
def harness():
    return load_profile(PROFILE)


class Simulator:
    def __init__(self, transport: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "benchcheck.simulator", str(PROFILE), "--transport", transport],
            cwd=PROFILE.parents[1],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self.config = config_from_mapping(json.loads(self.process.stdout.readline()))

    def end(self) -> int:
        self.process.stdin.close()
        code = self.process.wait(20)
        self.process.stdout.close()
        return code


@pytest.fixture(params=["pty", "tcp"])
def simulator(request):
    made = Simulator(request.param)
    yield made
    made.end()


def test_a_job_in_small(simulator, harness):
    over_tcp = "://" in simulator.config.hands.port
    feed = next(feed for feed in harness.feeds if not feed.converter)
    link = harness.links[0]
    sender = link.talks[0].tx
    breakouts = frozenset({ref_of(sender), ref_of(link.ground)})
    plugged = BenchState(
        on_unit=frozenset(ref for unit in harness.units.values() for ref in unit.connectors.values()),
        breakout=breakouts,
    )
    with Bench(simulator.config) as bench:
        run = next(run for run in harness.runs if run.b and run.length_m)
        bench.hands.bring_to(ALL_OPEN)
        bench.hands.touch(run.a, run.b)
        assert bench.meter.ohms().value == pytest.approx(0.1, abs=0.5)
        bench.hands.touch(feed.source, feed.ground)
        assert bench.meter.ohms().state is ReadingState.OVER
        with pytest.raises(SetupError, match="P999"):
            bench.hands.touch("P999-1", run.a)

        bench.supply.set(feed.nominal_v, feed.limit_a)
        bench.hands.bring_to(plugged)
        adapter = bench.can(harness.buses[0].name, harness.buses[0].bitrate)
        tap = simulator.config.serial[0].name
        line = bench.line(tap, link.baud, link.framing)
        bench.hands.tap(tap, sender, link.ground, link.baud if over_tcp else None)
        assert len(adapter.drain()) == 0
        bench.supply.on()
        assert bench.supply.volts().value == pytest.approx(feed.nominal_v, rel=0.05)
        until(lambda: adapter.counts.frames > 50)
        heard = bytearray()

        def a_sentence_has_come():
            heard.extend(b"".join(chunk.data for chunk in line.drain()))
            return any(kind.encode() in heard for kind in link.talks[0].types)

        until(a_sentence_has_come)
        batch = adapter.drain()
        assert set(batch.can_id.tolist()) <= {message.can_id for message in harness.buses[0].messages}
        assert adapter.counts.garbled == adapter.counts.dropped == 0
        assert bench.supply.amps().value > 0.1
        bench.supply.off()
        assert not bench.supply.output_on
    assert simulator.end() == 0


def test_a_bench_that_vanishes(simulator, harness):
    bench = Bench(simulator.config)
    adapter = bench.can(harness.buses[0].name, harness.buses[0].bitrate)
    line = bench.line(simulator.config.serial[0].name, 4800)
    meter, hands = bench.meter, bench.hands
    bench.supply.on()
    simulator.end()
    until(lambda: adapter.state is LinkState.LINK_LOST)
    until(lambda: line.state is LinkState.LINK_LOST)
    with pytest.raises(LinkLost):
        meter.ohms()
    with pytest.raises(LinkLost):
        hands.unload()
    with pytest.raises(LinkLost, match="may still be ON"):
        bench.close()
