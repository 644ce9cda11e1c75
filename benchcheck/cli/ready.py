"""`benchcheck ready`: is the bench ready: installed, permitted, present, answering, right; and what would mend it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.cli.profile_named import profile_named
from benchcheck.cli.survey_text import escaped
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from benchcheck.bench.config import BenchConfig
    from benchcheck.harness.model import Harness
    from benchcheck.jobs.ready import ReadyItem

SCHEMA = "benchcheck.ready/1"


@click.command(
    epilog="""\b
Examples:
  benchcheck ready
  benchcheck ready --bench bench.toml --profile survey_launch
  benchcheck ready --bench bench.toml --json
  benchcheck ready --bench bench.toml --prove-silent can1 --bitrate 250000

\b
--prove-silent: power exactly one unit on the bus. For 3 s the adapter listens, for 3 s it takes part and
ACKNOWLEDGES. Heard nothing before and something then: it is silent, and that is kept for this adapter.

\b
Exit codes: 0 ready, 3 something is not ready, 4 something is in doubt."""
)
@click.option(
    "--bench", type=click.Path(path_type=Path), metavar="FILE", help="What is on the bench: bench.toml, or JSON."
)
@click.option("--profile", metavar="PROFILE", help="What the bench is for: a folder, or a name.")
@click.option("--prove-silent", "prove", metavar="BUS", help="Prove that this bus's adapter is silent when told to be.")
@click.option(
    "--bitrate", type=click.IntRange(1_000, 1_000_000), metavar="N", help="Its bit rate, where nothing says it."
)
@click.option("--yes", is_flag=True, help="Don't ask whether one unit is powered and may be acknowledged.")
@output_options
def command(
    bench: Path | None,
    profile: str | None,
    prove: str | None,
    bitrate: int | None,
    yes: bool,
    as_json: bool,
    plain: bool,
) -> int:
    """Look at everything on the bench: is it there, may it be opened, does it answer, is it the right one.

    Nothing is switched, sent or acknowledged (but for --prove-silent).
    """
    from benchcheck.cli.bench_file import find_bench

    harness, folder = (None, Path()) if profile is None else profile_named(profile)
    config, source = find_bench(bench, folder)
    if prove is not None:
        return _prove(config, source, harness, prove, bitrate, yes=yes, as_json=as_json)
    items = _look(config, source, harness, as_json=as_json)
    states = [item.state.value for item in items]
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "bench": source,
                "items": [
                    {"what": item.what, "state": item.state.value, "text": item.text, "mend": item.mend or None}
                    for item in items
                ],
            }
        )
    if "not ready" in states:
        return ExitCode.SETUP
    return ExitCode.UNSURE if "doubt" in states else ExitCode.PASS


def _look(config: BenchConfig, source: str, harness: Harness | None, *, as_json: bool) -> list[ReadyItem]:
    from datetime import UTC, datetime

    from benchcheck.bench.bench import Bench
    from benchcheck.jobs.ready import look_at_bench

    items = []
    if not as_json:
        click.echo(escaped(f"{config.name}: {source}"))
    with Bench(config, keeps_supply=True) as opened:
        for item in look_at_bench(opened, harness, datetime.now(UTC).astimezone().date()):
            items.append(item)
            if not as_json:
                click.echo(f"  {item.state.value.upper():<10}{escaped(item.what)}: {escaped(item.text)}")
                if item.mend:
                    click.echo(f"            mend: {escaped(item.mend)}")
    return items


def _prove(
    config: BenchConfig,
    source: str,
    harness: Harness | None,
    bus: str,
    bitrate: int | None,
    *,
    yes: bool,
    as_json: bool,
) -> int:
    from datetime import UTC, datetime

    from benchcheck.bench.bench import Bench
    from benchcheck.cli.bench_file import can_port_of
    from benchcheck.cli.silence_proofs import add_proof, proofs_file
    from benchcheck.jobs.listening.prove_silent import prove_silent

    port = can_port_of(config, source, bus)
    known_rates = [entry.bitrate for entry in harness.buses if entry.name == bus] if harness is not None else []
    rate = bitrate or port.bitrate or next(iter(known_rates), None)
    if rate is None:
        raise UsageError(f"the bit rate of {bus} is not known", hint="Give --bitrate, or --profile.")
    if not yes:
        if not sys.stdin.isatty():
            raise UsageError("nobody can be asked, so nothing was done", hint="Where it is meant, give --yes.")
        say(f"Power exactly ONE unit on {bus}. For three seconds this bench will ACKNOWLEDGE what that unit sends.")
        if not click.confirm("Is that so, and may it", default=False, err=True):
            raise UsageError("nothing was done")
    with Bench(config, keeps_supply=True) as opened:
        proof = prove_silent(opened, bus, rate)
    if proof.proved is not None:
        day = datetime.now(UTC).astimezone().date()
        add_proof(proofs_file(), port.interface, port.channel, day, proved=proof.proved, text=proof.text)
    if as_json:
        print_json({"schema": "benchcheck.silence_proof/1", "bus": bus, "proved": proof.proved, "text": proof.text})
    else:
        click.echo(escaped(f"{bus}: {proof.text}"))
    if proof.proved is None:
        return ExitCode.UNSURE
    return ExitCode.PASS if proof.proved else ExitCode.FAIL
