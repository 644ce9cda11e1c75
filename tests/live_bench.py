"""A simulated bench in its own process with every unit in and the supply on, for commands that only listen."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from bench_stand_ins import until

from benchcheck.bench.bench import Bench
from benchcheck.bench.config import config_from_mapping
from benchcheck.harness.model import Harness
from benchcheck.profile.load import load_profile
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import ref_of

ROOT = Path(__file__).parents[1]
PROFILE = ROOT / "profiles" / "survey_launch"


@contextmanager
def live_bench(
    folder: Path,
    faults: str = "",
    *,
    power: bool = True,
    taps: int = 0,
    units: Sequence[str] | None = None,
    heard: bool = False,
    troubles: Sequence[str] = (),
) -> Iterator[tuple[Path, Bench, Harness]]:
    """(bench file, the bench that plugs and feeds, profile). Its first `taps` taps are put on the profile's first talkers.

    units  those that are plugged in; None: all
    heard  wait until the first of them talks
    troubles  of the bench itself, see simulator.bench_troubles
    """
    command = [sys.executable, "-m", "benchcheck", "simulate", str(PROFILE)]
    command += [f"--trouble={name}" for name in troubles]
    if faults:
        (folder / "faults.toml").write_text(faults, encoding="utf-8")
        command += ["--faults", str(folder / "faults.toml")]
    harness = load_profile(PROFILE)
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        description = json.loads(process.stdout.readline())
        path = folder / "bench.json"
        path.write_text(json.dumps(description), encoding="utf-8")
        talkers = [(link, talk) for link in harness.links for talk in link.talks][:taps]
        with Bench(config_from_mapping(description)) as bench:
            hands = bench.hands
            assert hands is not None
            breakouts = {ref_of(contact) for link, talk in talkers for contact in (talk.tx, link.ground)}
            plugged = harness.units if units is None else units
            on_unit = {ref for unit in plugged for ref in harness.units[unit].connectors.values()}
            hands.bring_to(BenchState(on_unit=frozenset(on_unit), breakout=frozenset(breakouts)))
            for number, (link, talk) in enumerate(talkers, 1):
                hands.tap(f"tap{number}", talk.tx, link.ground)
            feed = next(feed for feed in harness.feeds if not feed.converter)
            bench.supply.set(feed.nominal_v, feed.limit_a)
            if power:
                bench.supply.on()
            if heard:
                bus = harness.buses[0]
                with bench.can_at(bus.name, bus.bitrate, acknowledge=True) as adapter:
                    until(lambda: adapter.counts.frames > 0)
            yield path, bench, harness
        process.stdin.close()
        process.wait(20)
