"""Writing a job's reports as files, for the commands that end with one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.cli.output import say
from benchcheck.words.errors import SetupError

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness
    from benchcheck.plan.plan import Plan
    from benchcheck.record.store import JobRecord


def write_reports(harness: Harness, plan: Plan, record: JobRecord, generated_utc: str, folder: Path) -> str:
    """Write report.html and report.json into a folder; gives the JSON text."""
    from benchcheck import __version__
    from benchcheck.record.verify import read_as_it_is
    from benchcheck.report.build import build_report
    from benchcheck.report.html import report_html
    from benchcheck.report.json_report import report_text

    events, faults = read_as_it_is(record.path)
    model = build_report(
        harness,
        plan,
        events,
        generated_utc=generated_utc,
        version=__version__,
        head=record.head.hash,
        record_faults=faults,
    )
    text = report_text(model)
    write_whole(folder / "report.html", report_html(model))
    write_whole(folder / "report.json", text)
    return text


def write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    temporary = path.with_name(path.name + ".new")
    try:
        temporary.write_text(text, encoding="utf-8")
        temporary.replace(path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise SetupError(
            f"the report can't be written: {error.strerror or error}", where=str(path), hint="Choose another place."
        ) from error
    say(f"Wrote {path}.")
