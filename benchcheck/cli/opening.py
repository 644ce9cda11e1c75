"""Opening the screens: hands them a job and a bench, and puts everything away when they close."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.cli.output import say
from benchcheck.words.errors import BenchcheckError, ExitCode, UsageError

if TYPE_CHECKING:
    from benchcheck.cli.opened import OpenedJob
    from benchcheck.screens.app import BenchApp
    from benchcheck.screens.desk import Desk
    from benchcheck.screens.jobs_screen import JobLine

END_S = 5.0  # for a reading that is under way when the screens close


def open_screens(folder: Path = Path()) -> int:
    """The list of jobs of a folder; one of them may be opened."""
    _needs_terminal()
    from benchcheck.cli.login import login_name
    from benchcheck.screens.app import BenchApp

    with ExitStack() as stack:

        def opener(path: Path) -> Desk:
            return stack.enter_context(opened_desk(path, bench=None, who=login_name()))

        app = BenchApp(
            folder=folder.resolve(), listed=lambda: _job_lines(folder), opener=opener, take_signals=_has_signals()
        )
        return _run(app)


def open_board(path: Path, *, bench: Path | None, who: str, ambient: str | None = None) -> int:
    """The board of one job. What is wrong with it is raised before a screen opens."""
    _needs_terminal()
    with opened_desk(path, bench=bench, who=who, ambient=ambient, ask=True) as desk:
        from benchcheck.screens.app import BenchApp

        return _run(BenchApp(desk=desk, take_signals=_has_signals()))


@contextmanager
def opened_desk(
    path: Path, *, bench: Path | None, who: str, ambient: str | None = None, ask: bool = False
) -> Iterator[Desk]:
    """A job on the table, for the screens. At the end the work is stopped, the supply off, the record closed."""
    from benchcheck.cli.opened import opened_job
    from benchcheck.jobs.dialogue import Dialogue, StoppableClock, Told
    from benchcheck.screens.desk import Desk

    clock = StoppableClock()
    with opened_job(path, bench=bench, who=who, clock=clock) as job:
        dialogue = Dialogue(lambda said: None)
        clock.check = dialogue.check
        note = _settled(job, ambient, ask)
        session, by_hand = job.session(dialogue, progress=lambda text: None)
        with session:
            try:
                yield Desk(
                    path.name,
                    who,
                    f"{job.bench.config.name}, {'measured' if job.bench.has_meter else 'readings typed in'}",
                    job.harness,
                    session,
                    by_hand,
                    dialogue,
                    job.simulated,
                    (*job.notes, note),
                )
            finally:
                # Nobody answers any more; what the bench still has to say goes to the plain terminal.
                dialogue.hear = lambda said: say(said.text) if isinstance(said, Told) else None
                dialogue.stop()
                dialogue.join(END_S)


def _settled(job: OpenedJob, ambient: str | None, ask: bool) -> str:
    """The temperature of the day in words; asked on the plain terminal, before a screen opens, where nobody has said it."""
    from benchcheck.cli.console import Console
    from benchcheck.jobs.asked import StopAsked

    try:
        return job.settle_ambient(ambient, Console() if ask and not job.simulated else None)
    except StopAsked:
        raise UsageError("stopped before anything was opened", hint="--ambient C answers it beforehand.") from None


def _run(app: BenchApp) -> int:
    try:
        app.run()
    finally:
        if app.crash is not None:
            raise app.crash
    return app.return_code or ExitCode.PASS


def _job_lines(folder: Path) -> list[JobLine]:
    from benchcheck.record.rows import read_until_damage
    from benchcheck.record.store import SUFFIX
    from benchcheck.report.facts import facts_of
    from benchcheck.screens.jobs_screen import JobLine

    lines = []
    for path in sorted(folder.glob(f"*{SUFFIX}")):
        try:
            events, damage = read_until_damage(path)
        except BenchcheckError as error:
            lines.append(JobLine(path, "", "", error.text))
            continue
        facts = facts_of(events)
        squawks = len(facts.open_squawks)
        text = f"last used {facts.last_utc[:16].replace('T', ' ')} UTC, {squawks or 'no'} open squawk{'' if squawks == 1 else 's'}"
        lines.append(JobLine(path, facts.title, text, damage))
    return lines


def _needs_terminal() -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(
            "the screens need a terminal", hint="In a pipe or a script use `benchcheck check JOB --stage dead`."
        )
    if os.environ.get("TERM", "") in ("", "dumb"):
        raise UsageError(
            "this terminal can't draw screens", hint="Use `benchcheck check JOB --stage dead`: question by question."
        )


def _has_signals() -> bool:
    return os.name == "posix"
