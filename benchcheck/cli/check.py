"""`benchcheck check JOB --stage …`: run a stage from the command line, with a person or on a simulated bench."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import UsageError

if TYPE_CHECKING:
    from benchcheck.cli.console import ConsoleWatcher
    from benchcheck.cli.opened import OpenedJob
    from benchcheck.jobs.by_hand import ByHand
    from benchcheck.jobs.listening.capture_file import PartLimits
    from benchcheck.jobs.session import Session
    from benchcheck.readiness.board import Board
    from benchcheck.words.step import Stage, Step

SCHEMA = "benchcheck.check/1"


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--stage", type=click.Choice(["dead", "power", "live"]), help="The stage to run.")
@click.option("--step", "step_id", metavar="ID", help="Only this step, also where it has a verdict already.")
@click.option("--bench", type=click.Path(path_type=Path), help="What is on the bench: bench.toml, or JSON.")
@click.option("--by", "who", help="Who does it [your login name].")
@click.option("--ambient", metavar="C", help="Degrees Celsius at the harness today [asked at a terminal, once a day].")
@click.option("--acknowledge", is_flag=True, help="Let the CAN adapter take part in the bus; else it only listens.")
@click.option(
    "--transmit", is_flag=True, help="Let the loop-back tests send on their lines; else nothing is ever sent on a line."
)
@click.option(
    "--part-mb",
    type=click.FloatRange(0),
    metavar="MB",
    help="Size at which the capture goes on in another file [256; 0: never].",
)
@click.option("--part-minutes", type=click.FloatRange(0), metavar="MIN", help="The same by time [60; 0: never].")
@output_options
def command(
    job: Path,
    stage: str | None,
    step_id: str | None,
    bench: Path | None,
    who: str | None,
    ambient: str | None,
    acknowledge: bool,
    transmit: bool,
    part_mb: float | None,
    part_minutes: float | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Run what is left of a stage, question by question. What has passed is not asked again.

    You are told what to move and what to touch; a reading is typed as the meter shows it (0.3, 4.7k, 1.2M, OL).
    Instead of a reading: `skip REASON`, `back` for the step before once more, `zero` to measure the leads again, `quit`. The end of the input ends the
    stage in order; what was recorded stays, and the next run goes on from there. On a simulated bench
    (`benchcheck simulate`) nobody is asked.

    \b
    benchcheck job start starter
    benchcheck check starter.job --stage dead --by "Ann Example"
    benchcheck check starter.job --stage power --bench bench.toml
    benchcheck check starter.job --step continuity:W3
    benchcheck check starter.job --stage live --part-mb 50 --part-minutes 10

    What the live stage hears goes into a capture beside the job. A long one goes on in further files
    (JOB-live-1.0002.pcapng ...); the record names each, and survey, replay, compare and convert take JOB-live-1.pcapng
    for all of them.

    Exit codes: 0 all pass, 1 a FAIL or an open squawk, 4 something is UNSURE, left out or still to do.
    """
    from benchcheck.cli.login import login_name
    from benchcheck.cli.opened import opened_job
    from benchcheck.cli.signals import ends_in_order
    from benchcheck.jobs.listening.capture_file import PartLimits
    from benchcheck.words.step import Stage

    if stage is None and step_id is None:
        raise UsageError("nothing to run", hint="Give --stage dead, power or live, or --step ID.")
    with ends_in_order(), opened_job(job, bench=bench, who=who or login_name()) as opened:
        for note in opened.notes:
            say(f"benchcheck: {note}")
        only = _step(opened, step_id) if step_id is not None else None
        if only is not None and stage is not None and only.stage != stage:
            raise UsageError(f"{only.id} is a step of the {only.stage.value} stage, not of {stage}")
        wanted = only.stage if only is not None else Stage(str(stage))
        usual = PartLimits()
        parts = PartLimits(
            usual.megabytes if part_mb is None else part_mb or None,
            usual.minutes if part_minutes is None else part_minutes or None,
        )
        leave = {"acknowledge": acknowledge, "transmit": transmit}
        return _run(opened, wanted, only, ambient=ambient, leave=leave, parts=parts, as_json=as_json)


def _run(
    opened: OpenedJob,
    stage: Stage,
    only: Step | None,
    *,
    ambient: str | None,
    leave: dict[str, bool],
    parts: PartLimits,
    as_json: bool,
) -> int:
    from benchcheck.cli.console import WORDS, Console, ConsoleWatcher
    from benchcheck.jobs.asked import StopAsked
    from benchcheck.words.step import Stage

    console = Console()
    say(f"{opened.harness.title}: {opened.path}, {opened.who}")
    say(f"bench: {opened.bench.config.name} ({opened.bench_source})")
    if not opened.simulated:
        say(WORDS)
    try:
        say(opened.settle_ambient(ambient, console if console.at_terminal and not opened.simulated else None))
    except StopAsked:
        say("Stopped here. Nothing was begun.")
        return opened.board().exit_code([stage])
    only = opened.plan.by_id[only.id] if only is not None else None
    watcher = ConsoleWatcher(opened.plan, say if as_json else click.echo, quiet=opened.simulated)
    hears = stage is Stage.LIVE and bool(opened.bench.buses or opened.bench.taps)
    session, by_hand = opened.session(
        console,
        progress=say,
        watcher=watcher,
        capture=_capture_name(opened.path) if hears else None,
        capture_parts=parts,
        **leave,
    )
    stopped = False
    try:
        with session:
            if stage is Stage.POWER or hears:
                _accept_cautions(opened, session, by_hand)
            session.begin()
            if only is None:
                session.runner.run(stage)
            else:
                _one(session, only)
    except StopAsked:
        stopped = True
        say("Stopped here. What was recorded stays; the same command goes on from there.")
    board = opened.board()
    _summary(board, stage, counted=not stopped and only is None)
    code = board.exit_code([stage])
    if as_json:
        print_json(_document(opened, board, stage, watcher, stopped))
    return code


def _accept_cautions(opened: OpenedJob, session: Session, by_hand: ByHand) -> None:
    """Before anything is powered; not where the gates keep power out anyway."""
    from benchcheck.jobs.session import CAUTIONS

    if session.runner.power_blockers():
        return
    if opened.simulated:
        session.begin()
        session.accept_cautions(opened.who)
        return
    name = by_hand.accept_cautions(CAUTIONS)
    session.begin()
    session.accept_cautions(name)


def _one(session: Session, step: Step) -> None:
    from benchcheck.jobs.asked import BackAsked

    while True:
        try:
            session.runner.run_step(step)
            break
        except BackAsked:
            say("  There is no step before this one: --step does only this.")
    session.runner.diagnose(step.stage)


def _step(opened: OpenedJob, step_id: str) -> Step:
    from benchcheck.harness.reading.hints import did_you_mean

    step = opened.plan.by_id.get(step_id)
    if step is None:
        hint = did_you_mean(step_id, list(opened.plan.by_id), what="Steps")
        raise UsageError(
            f"the plan has no step '{ascii(step_id)[1:-1][:80]}'",
            hint=f"{hint} `benchcheck plan PROFILE --plain` lists them.".strip(),
        )
    return step


def _capture_name(job: Path) -> Path:
    """A name for what will be heard, that no capture has yet, in one file or in parts."""
    from itertools import count

    from benchcheck.capture.parts import parts_of

    stem = job.resolve().with_suffix("")
    names = (stem.with_name(f"{stem.name}-live-{number}.pcapng") for number in count(1))
    return next(path for path in names if not path.exists() and not parts_of(path))


def _summary(board: Board, stage: Stage, *, counted: bool) -> None:
    from benchcheck.report.visible import visible

    if not counted:  # a whole stage has already said its counts
        counts = board.counts(stage)
        say(f"{stage.value} stage: " + ", ".join(f"{number} {word}" for word, number in counts.items() if number))
    for number, squawk in enumerate(board.squawks, 1):
        say(visible(f"  squawk {number} [{squawk.stage}] {squawk.text}"))


def _document(
    opened: OpenedJob, board: Board, stage: Stage, watcher: ConsoleWatcher, stopped: bool
) -> dict[str, object]:
    from benchcheck.jobs.bodies import verdict_json

    return {
        "schema": SCHEMA,
        "file": str(opened.path),
        "stage": stage.value,
        "stopped": stopped,
        "done": [
            {"step": r.step.id, "reading": r.reading.to_json(), "verdict": verdict_json(r.verdict)}
            for r in watcher.results
        ],
        "counts": board.counts(stage),
        "open_squawks": [squawk.to_json() for squawk in board.squawks],
        "exit_code": int(board.exit_code([stage])),
    }
