"""The program: finds the command, calls it, and turns what goes wrong into words and an exit code."""

from __future__ import annotations

import contextlib
import gc
import importlib
import os
import sys
from collections.abc import Sequence

import click

from benchcheck import __version__
from benchcheck.words.errors import ExitCode

# Each name is a module of benchcheck.cli that holds a click command called `command`; its line stands here, so that
# asking for help loads none of them. They import click and the words only; anything heavier is imported inside the
# function that needs it.
COMMANDS = {
    "demo": "The whole job on a simulated bench: review, plan, measure, listen, judge, report.",
    "review": "What is wrong in a profile on paper, before anything is touched.",
    "import": "A pin table or a unit's contacts from a spreadsheet, under any headings.",
    "export": "The pin table back into a spreadsheet, under the headings it came with.",
    "template": "A workbook to fill in: runs, unit contacts, and what each column means.",
    "plan": "The steps in order, with limits, probe moves and time.",
    "face": "Where the contacts of a connector lie, on the side that you look at.",
    "changes": "What changed between two versions of a profile, and which steps must be done again.",
    "breakout": "The breakout leads of the bench, and the self-check of one.",
    "job": "Start, open, list, show, waive or verify a job record.",
    "check": "Run a stage of a job: moves are told, readings are typed or measured.",
    "listen": "Live: who is there, load, errors, lines; writes a capture.",
    "survey": "The analysis of a recording: load, identifiers, silences, lines, who is there.",
    "replay": "A capture judged again as the live run judged it, or its frames played as they came.",
    "compare": "What changed between two recordings of one bench, by how much it matters.",
    "budget": "Load and response times of each CAN bus at worst, beside what was measured.",
    "convert": "A recording in another form, and what that form can't hold.",
    "locate": "The probable fault behind the open squawks of a job, and the next probe.",
    "report": "A job's report as HTML and JSON.",
    "ready": "Is the bench ready: what is there, answers, may be opened; and what would mend it.",
    "simulate": "The simulated bench alone, for other programs to connect to.",
}
# where the command's name can't be the module's
MODULES = {"import": "import_"}


class Commands(click.Group):
    """Loads a command when it is asked for, and suggests the nearest name when there is none."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"benchcheck.cli.{MODULES.get(cmd_name, cmd_name)}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(args[0], list(COMMANDS), n=1)
            hint = f" Did you mean '{near[0]}'?" if near else ""
            raise click.UsageError(f"No command '{args[0]}'.{hint}", ctx)
        return super().resolve_command(ctx, args)


@click.group(
    cls=Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 all pass, 1 a FAIL, 2 wrong use or bad input, 3 set-up, 4 UNSURE, 5 internal, 130 interrupted.",
)
@click.version_option(__version__, prog_name="benchcheck")
@click.pass_context
def program(ctx: click.Context) -> None:
    """Prove a wiring harness before its connectors are closed.

    \b
    benchcheck demo                     the whole job on a simulated bench, no hardware
    benchcheck review profiles/starter  what is wrong on paper
    benchcheck survey capture.log --bitrate 250000
    """
    if ctx.invoked_subcommand is None:
        if sys.stdin.isatty() and sys.stdout.isatty():
            from benchcheck.cli.opening import open_screens

            open_screens()
        else:
            click.echo(ctx.get_help())


def main(argv: Sequence[str] | None = None) -> None:
    """Entry point of the `benchcheck` script."""
    collect_less_often()
    sys.exit(run(argv))


def collect_less_often() -> None:
    """A large harness is some hundred thousand values that stay, and none of them in a ring: looking for garbage
    among them after every 700 new ones costs a quarter of the time of a plan."""
    gc.set_threshold(200_000, 50, 100)


def run(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; nothing escapes but SystemExit codes in words.

    Where JSON was asked for and the command can't give its own, stdout gets an error object (cli/failure.py).
    """
    words = list(sys.argv[1:] if argv is None else argv)
    stdout, stderr = sys.stdout, sys.stderr
    try:
        code = _run(words)
        if sys.stdout is not None:
            sys.stdout.flush()  # what can't be written is found out here, not after the end
        return code
    except (BrokenPipeError, SystemExit) as end:
        if isinstance(end, SystemExit) and sys.stdout is stdout:
            raise
        sys.stdout, sys.stderr = stdout, stderr  # click has put its own in their place and asks to end
        _let_go_of_stdout()  # whoever read our output has closed it; say nothing more
        return ExitCode.PASS
    except OSError as error:
        _let_go_of_stdout()
        with contextlib.suppress(OSError):
            reason = error.strerror or str(error)
            click.echo(f"benchcheck: the output can't be written: {reason}\n  Send it somewhere else.", err=True)
        return ExitCode.SETUP


def _run(words: list[str]) -> int:
    try:
        result = program.main(args=words, prog_name="benchcheck", standalone_mode=False)
        return int(result) if isinstance(result, int) else ExitCode.PASS
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except (Exception, KeyboardInterrupt) as error:
        from benchcheck.cli.failure import say_failure

        return say_failure(error, words)


def _let_go_of_stdout() -> None:
    """Nothing more gets out, also not what is still held back for the end of the program."""
    with contextlib.suppress(OSError, ValueError, AttributeError):  # stdout may be no file at all
        sink = os.open(os.devnull, os.O_WRONLY)
        os.dup2(sink, sys.stdout.fileno())
        os.close(sink)
