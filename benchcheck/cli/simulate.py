"""`benchcheck simulate PROFILE`: the simulated bench alone, for other programs to connect to."""

from __future__ import annotations

import os
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
"""
)
@click.argument("profile", type=click.Path(path_type=Path))
@click.option("--faults", type=click.Path(path_type=Path), help="TOML file of the faults to plant.")
@click.option(
    "--transport",
    type=click.Choice(["auto", "pty", "tcp"]),
    default="auto",
    show_default=True,
    help="Pseudo-terminals, or loopback TCP; auto takes what the system has.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Of scatter and noise; 0 for none.")
def command(profile: Path, faults: Path | None, transport: str, seed: int) -> int:
    """Serve a simulated bench of PROFILE until Ctrl-C.

    Prints the bench description, one JSON line, on stdout: its meter and supply (SCPI), CAN adapter
    (serial-line protocol), serial taps and hands can then be opened like real ones.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # several threads are slower on matrices of this size
    from benchcheck.simulator.serve import serve

    say("Serving; Ctrl-C ends it.")
    serve(profile, faults=faults, transport=transport, seed=seed)
    say("Ended.")
    return ExitCode.PASS
