"""`benchcheck simulate PROFILE`: the simulated bench alone, for other programs to connect to."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import click

from benchcheck.cli.output import say
from benchcheck.words.errors import ExitCode


@click.command(
    epilog="""\b
Examples:
  benchcheck simulate profiles/starter
  benchcheck simulate profiles/starter --faults my_faults.toml
  benchcheck simulate profiles/starter --transport tcp
  benchcheck simulate profiles/starter --trouble refuses-silence

\b
Troubles of the bench itself, to see what is said then: refuses-silence (the CAN adapters refuse silent mode),
loses-frames, garbles (every tenth frame), sees-errors (their status tells of bus errors).
"""
)
@click.argument("profile")
@click.option("--faults", type=click.Path(path_type=Path), help="TOML file of the faults to plant.")
@click.option("--trouble", "troubles", multiple=True, metavar="NAME", help="What is wrong with the bench itself.")
@click.option(
    "--transport",
    type=click.Choice(["auto", "pty", "tcp"]),
    default="auto",
    show_default=True,
    help="Pseudo-terminals, or loopback TCP; auto takes what the system has.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Of scatter and noise; 0 for none.")
def command(profile: str, faults: Path | None, troubles: tuple[str, ...], transport: str, seed: int) -> int:
    """Serve a simulated bench of PROFILE until Ctrl-C, or until the pipe that is its stdin closes.

    Prints the bench description, one JSON line, on stdout: its meter and supply (SCPI), CAN adapter
    (serial-line protocol), serial taps and hands can then be opened like real ones.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # several threads are slower on matrices of this size
    from benchcheck.profile.find import find_profile
    from benchcheck.simulator.serve import serve

    piped = _is_piped_in()
    serve(
        find_profile(profile),
        faults=faults,
        troubles=troubles,
        transport=transport,
        seed=seed,
        until_stdin_closes=piped,
        ready=lambda: say(f"Serving; Ctrl-C{' or the end of the input' if piped else ''} ends it."),
    )
    say("Ended.")
    return ExitCode.PASS


def _is_piped_in() -> bool:
    """Whether a program holds the other end of stdin. A terminal is not closed, and /dev/null (nohup, a script's `&`)
    says nothing of whether anybody still wants the bench."""
    try:
        mode = os.fstat(0).st_mode
    except OSError:  # closed before we were started
        return False
    return stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode)
