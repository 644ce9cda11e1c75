"""Writing a job's reports as files, for the commands that end with one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness
    from benchcheck.plan.plan import Plan
    from benchcheck.record.store import JobRecord


def write_reports(harness: Harness, plan: Plan, record: JobRecord, generated_utc: str, folder: Path) -> str:
    """Write report.html and report.json into a folder; gives the JSON text."""
    from benchcheck import __version__
    from benchcheck.report.build import build_report
    from benchcheck.report.html import report_html
    from benchcheck.report.json_report import report_text

    model = build_report(
        harness, plan.steps, record.events(), generated_utc=generated_utc, version=__version__, head=record.head.hash
    )
    text = report_text(model)
    (folder / "report.html").write_text(report_html(model), encoding="utf-8")
    (folder / "report.json").write_text(text, encoding="utf-8")
    return text
