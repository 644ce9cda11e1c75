"""The program: finds the command, calls it, and turns what goes wrong into words and an exit code."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

import click

from benchcheck import __version__
from benchcheck.words.errors import BenchcheckError, ExitCode

# Each name is a module of benchcheck.cli that holds a click command called `command`; its line stands here, so that
# asking for help loads none of them. They import click and the words only; anything heavier is imported inside the
# function that needs it.
COMMANDS = {
    "demo": "The whole job on a simulated bench: review, plan, measure, listen, judge, report.",
    "review": "What is wrong in a profile on paper, before anything is touched.",
    "plan": "The steps in order, with limits, probe moves and time.",
    "job": "Start, open, list, show or verify a job record.",
    "check": "Run a stage of a job: moves are told, readings are typed or measured.",
    "survey": "The analysis of a recording: load, identifiers, silences, lines, who is there.",
    "report": "A job's report as HTML and JSON.",
    "simulate": "The simulated bench alone, for other programs to connect to.",
}


class Commands(click.Group):
    """Loads a command when it is asked for, and suggests the nearest name when there is none."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"benchcheck.cli.{cmd_name}").command
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
    sys.exit(run(argv))


def run(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; nothing escapes but SystemExit codes in words."""
    try:
        result = program.main(args=None if argv is None else list(argv), prog_name="benchcheck", standalone_mode=False)
        return int(result) if isinstance(result, int) else ExitCode.PASS
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except click.Abort:
        click.echo("Interrupted.", err=True)
        return ExitCode.INTERRUPTED
    except click.ClickException as wrong:
        wrong.show()
        return ExitCode.USAGE
    except BenchcheckError as error:
        click.echo(f"benchcheck: {error}", err=True)
        return error.exit_code
    except KeyboardInterrupt:
        click.echo("Interrupted; what was recorded stays recorded.", err=True)
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        # whoever read our output has closed it; say nothing more, and let nothing flush into the closed pipe
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ExitCode.PASS
    except Exception as unforeseen:
        click.echo(f"benchcheck: internal error: {type(unforeseen).__name__}: {unforeseen}", err=True)
        click.echo(f"  The trace is in {_write_trace(unforeseen)}; please report it.", err=True)
        return ExitCode.INTERNAL


def _write_trace(error: BaseException) -> str:
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile(
        "w", prefix="benchcheck-", suffix=".trace", delete=False, encoding="utf-8"
    ) as sink:
        traceback.print_exception(error, file=sink)
        return sink.name
