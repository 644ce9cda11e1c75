"""`benchcheck demo`: the whole job on a simulated bench, start to report, no hardware."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, say
from benchcheck.words.errors import ExitCode

if TYPE_CHECKING:
    from benchcheck.readiness.board import Board

WHO = "demo operator"
WAIVER = (
    "the simulated serial-line adapter can't report error frames; on real equipment repeat with one that reports them"
)


@click.command()
@click.option("--clean", is_flag=True, help="A bench without faults.")
@click.option("--faults", type=click.Path(path_type=Path), help="Plant the faults of this TOML file instead.")
@click.option("--profile", default="survey_launch", show_default=True, help="Folder, or a profile that comes along.")
@click.option(
    "--out", type=click.Path(path_type=Path), help="Folder for record, capture and reports [benchcheck-demo]."
)
@click.option("--transport", type=click.Choice(["auto", "pty", "tcp"]), default="auto", hidden=True)
@click.option("--seed", default=1, show_default=True, help="Of the simulated noise.")
@click.option(
    "--truth", type=click.Path(path_type=Path), hidden=True, help="Where the simulator writes what it planted."
)
@output_options
def command(
    clean: bool,
    faults: Path | None,
    profile: str,
    out: Path | None,
    transport: str,
    seed: int,
    truth: Path | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Do the whole job on a simulated bench, from the pin table to the report.

    \b
    benchcheck demo            faults are planted; ends with what was found, exit code 1
    benchcheck demo --clean    a sound bench, exit code 0
    """
    from benchcheck import __version__
    from benchcheck.bench.bench import Bench
    from benchcheck.bench.config import config_from_mapping
    from benchcheck.checks.kind import Context
    from benchcheck.cli.reports import write_reports
    from benchcheck.harness.review.rule import review
    from benchcheck.jobs.operator import SimulatedOperator
    from benchcheck.jobs.profile_change import keep_profile
    from benchcheck.jobs.session import run_stages
    from benchcheck.plan.plan import STAGES, make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_with_files
    from benchcheck.record.store import JobRecord
    from benchcheck.simulator.launch import demo_faults_path, start
    from benchcheck.words.errors import UsageError

    if clean and faults is not None:
        raise UsageError("--clean and --faults exclude each other", hint="Leave one of them away.")
    folder = find_profile(profile)
    say(f"benchcheck {__version__}: the whole job on a simulated bench; nothing real is touched.")
    harness, contents = load_with_files(folder)
    say(
        f"profile: {harness.title}: {len(harness.connectors)} connectors, studs and splices, {len(harness.runs)} conductors"
    )
    findings = review(harness)
    say(f"paper review: {len(findings)} findings" if findings else "paper review: nothing found")
    for finding in findings:
        say(f"  {finding}")
    planted = None if clean else faults
    if planted is None and not clean:
        planted = demo_faults_path()
    with start(folder, faults=planted, transport=transport, seed=seed, truth=truth) as simulated:
        target = _new_folder(out)
        config = config_from_mapping(simulated.description)
        context = Context(harness, config.meter_spec)
        plan = make_plan(harness, config.meter_spec)
        say(
            f"plan: {len(plan.steps)} steps, {plan.probe_moves} probe moves, about {plan.estimate_s / 3600:.1f} h by hand"
        )
        with Bench(config) as bench:
            job = target / "demo.job"
            with JobRecord.create(
                job, title=harness.title, profile_path=str(folder), digest=harness.digest, who=WHO, clock=bench.clock
            ) as record:
                keep_profile(record, harness, contents, who=WHO)
                hands = bench.hands
                assert hands is not None  # a simulated bench has hands
                board = run_stages(
                    harness,
                    plan,
                    context,
                    bench,
                    SimulatedOperator(hands),
                    record,
                    STAGES,
                    who=WHO,
                    cautions_by=WHO,
                    progress=say,
                    capture=target / "demo.pcapng",
                    acknowledge=True,
                    waive_unreported_errors=WAIVER,
                )
                passive = bench.passive()
                document = write_reports(harness, plan, record, bench.clock.utc(), target)
    if as_json:
        click.echo(document)
    for bus, sentence in passive.items():
        say(f"{bus}: {sentence}")
    _summary(board, target, say if as_json else click.echo)
    return board.exit_code(STAGES)


def _summary(board: Board, target: Path, tell: Callable[[str], None]) -> None:
    from benchcheck.plan.plan import STAGES

    tell("")
    count = len(board.squawks)
    tell(f"{count} squawk{'s' if count != 1 else ''}" if count else "no squawks")
    for number, squawk in enumerate(board.squawks, 1):
        tell(f"  {number:2}. [{squawk.stage}] {squawk.text}")
    for step_id, reason in board.waived.items():
        tell(f"waived: {step_id}: {reason}")
    skipped = sum(board.counts(stage)["SKIPPED"] for stage in STAGES)
    if skipped:
        tell(f"{skipped} steps could not be done while these squawks are open; a rerun does them")
    code = board.exit_code(STAGES)
    tell(
        f"{'FAIL' if code is ExitCode.FAIL else 'UNSURE' if code is ExitCode.UNSURE else 'PASS'} (exit code {int(code)})"
    )
    tell(f"Record: {target / 'demo.job'}; capture: {target / 'demo.pcapng'}.")


def _new_folder(out: Path | None) -> Path:
    """The folder for this run: what an earlier run left is never written over."""
    from itertools import count

    from benchcheck.words.errors import SetupError

    base = out or Path("benchcheck-demo")
    for number in count(1):
        folder = base if number == 1 else base.with_name(f"{base.name}-{number}")
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            if not folder.is_dir() or any(folder.iterdir()):
                continue
        except OSError as error:
            raise SetupError(
                f"can't be made: {error.strerror}", where=str(folder), hint="Choose another with --out."
            ) from error
        return folder
    raise AssertionError("unreachable")
