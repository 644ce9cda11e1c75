"""What every command shares: where results go, and in which form."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def output_options(function: F) -> F:
    """`--json` (versioned, on stdout) and `--plain` (line-based, no colour) for a command."""
    function = click.option("--json", "as_json", is_flag=True, help="Print JSON on stdout instead of text.")(function)
    return click.option("--plain", is_flag=True, help="Plain lines: no colour, no progress line that redraws.")(
        function
    )


def print_json(document: Mapping[str, object]) -> None:
    """One JSON document on stdout. NaN never gets out: it is not JSON."""
    click.echo(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False))


def say_altered(job: Path, faults: Sequence[str]) -> None:
    """That a record is only shown, and proves nothing."""
    from benchcheck.report.visible import visible

    more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
    say(visible(f"Warning: {job} is not as it was written: {faults[0]}{more}. It is shown, and proves nothing."))
    say(visible(f"  `benchcheck job verify {job}` says what is wrong."))


def say(text: str) -> None:
    """A message for the person, on stderr, so that stdout holds results only."""
    click.echo(text, err=True)
