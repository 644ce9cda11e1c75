"""`benchcheck plan PROFILE`: the steps in order, by bench state, with their limits."""

from __future__ import annotations

from pathlib import Path

import click

from benchcheck.cli.output import output_options, print_json
from benchcheck.words.errors import ExitCode


@click.command()
@click.argument("profile")
@click.option("--stage", type=click.Choice(["dead", "power", "live"]), help="Only this stage.")
@click.option(
    "--isolation", type=click.Choice(["near", "full", "plug"]), default="near", help="What is proved apart [near]."
)
@click.option(
    "--identity", type=click.Choice(["direct", "coded"]), default="direct", help="How a run is found [direct]."
)
@click.option("--touch", is_flag=True, help="Also how each contact is touched, and where it lies.")
@click.option(
    "--bench",
    type=click.Path(path_type=Path),
    help="Description of the bench, whose meter the plan is for [bench.toml].",
)
@output_options
def command(
    profile: str,
    stage: str | None,
    isolation: str,
    identity: str,
    touch: bool,
    bench: Path | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Show what must be measured, in which order, and what each reading must be.

    PROFILE is a folder, or the name of a profile that comes with benchcheck. Steps are grouped by bench state,
    with what to plug, lift or switch to get there. What the steps of a list share is said once above it.

    The order spares lead moves, and ways to another connector or zone. The table says how many there are, and how
    few lead moves any safe order needs at least. What the isolation readings prove apart stands below it, as numbers.

    `benchcheck job start --help` says what the ways of isolation and identity are.

    \b
    benchcheck plan starter
    benchcheck plan profiles/mine --stage dead --touch
    benchcheck plan profiles/mine --isolation plug --identity coded
    benchcheck plan profiles/mine --plain | grep P101     one line a step, columns parted by tabs
    """
    from benchcheck.cli.bench_file import find_bench
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile
    from benchcheck.words.step import Stage
    from benchcheck.words.ways import Identity, Isolation, Ways

    folder = find_profile(profile)
    harness = load_profile(folder)
    meter = find_bench(bench, folder)[0].meter_spec
    plan = make_plan(harness, meter, Ways(Isolation(isolation), Identity(identity)))
    if stage is not None:
        plan = plan.only(Stage(stage))
    if as_json:
        from benchcheck.cli.plan_document import plan_document

        print_json(plan_document(harness, plan, meter.name))
    else:
        from benchcheck.cli.plan_text import plain_lines, text_lines

        for line in plain_lines(plan) if plain else text_lines(harness, plan, touch=touch):
            click.echo(line)
    return ExitCode.PASS
