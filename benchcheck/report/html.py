"""The report as one self-contained HTML page: no script, nothing fetched, prints on A4, readable without colour.

Every value is escaped, and characters that nobody sees are written out (`visible`), so a name from a profile or a bus
can neither run nor hide anything.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING

from benchcheck.report import charts, model
from benchcheck.report.json_report import outcome_word
from benchcheck.report.model import ReportModel, StepGroup, Word
from benchcheck.report.step_table import step_table
from benchcheck.report.visible import visible

if TYPE_CHECKING:
    from jinja2 import Template

STAGE_TITLES = {
    "dead": "Dead: unpowered",
    "power": "Power: volts, units out, then one at a time",
    "live": "Live: what is heard",
    "closing": "Closing",
}


# A number and its unit stay on one line.
_UNIT = re.compile(r"(?<=\d) (?=(?:[kMmuµ]?(?:ohm|V|A|s|bit/s)|°C|%|baud)(?!\w))|(?<=±) (?=\d)")
_TABLE = re.compile(r"<table(?: class=\"(?!steps)[^\"]*\")?>.*?</table>", re.DOTALL)
_HEADING = re.compile(r"<th\b[^>]*>(.*?)</th>", re.DOTALL)
_ROW = re.compile(r"<tr\b.*?</tr>", re.DOTALL)
_TAG = re.compile(r"<[^>]*>")


def report_html(report: ReportModel) -> str:
    """The report as HTML text."""
    page = _template().render(
        report=report,
        outcome=outcome_word(report.outcome),
        words=list(Word),
        stage_titles=STAGE_TITLES,
        no_approval=model.NO_APPROVAL,
        names=model.NAMES,
        chain=model.CHAIN,
        cautions=model.CAUTIONS,
        feed_chart=charts.band_chart([row for row in report.steps if row.check in ("feed_volts", "feed_drop")]),
        boot_chart=charts.boot_chart(report.units),
        step_by_id={row.id: row for row in report.steps},
        load_charts=[(bus, drawing) for bus in report.buses if (drawing := charts.load_chart(bus))],
    )
    return _TABLE.sub(lambda found: _labelled(found[0]), page)


def _labelled(table: str) -> str:
    """A table whose cells carry their column's heading, for narrow screens where each row becomes a list.

    Everything foreign in the page is escaped, so a `<td` is always one of the template's own.
    """
    labels = [_TAG.sub("", heading).strip() for heading in _HEADING.findall(table)]

    def row(found: re.Match[str]) -> str:
        left = iter(labels)
        return re.sub(r"<td\b(?! colspan)", lambda _: f'<td data-label="{next(left, "")}"', found[0])

    return _ROW.sub(row, table)


@cache
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup, escape

    def shown(value: object) -> object:
        if not isinstance(value, str) or isinstance(value, Markup):
            return value
        return Markup(_UNIT.sub("&nbsp;", escape(visible(value))))

    environment = Environment(
        loader=PackageLoader("benchcheck.report"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["when"] = _when
    environment.filters["step_table"] = step_table
    environment.filters["groupby_stage"] = _by_stage
    environment.filters["seconds"] = lambda value: "" if value is None else f"{value:.2f} s"
    environment.filters["percent"] = lambda value: "" if value is None else f"{value:.2f} %"
    environment.filters["count"] = lambda value: "" if value is None else f"{value}"
    return environment.get_template("report.html.j2")


def _by_stage(groups: Sequence[StepGroup]) -> list[tuple[str, list[StepGroup]]]:
    return [(stage, list(found)) for stage, found in groupby(groups, key=lambda group: group.stage)]


def _when(stamp: str) -> str:
    """An RFC 3339 stamp to the second: `2031-05-04 09:12:44 UTC`."""
    if len(stamp) > 19 and stamp[10] == "T" and stamp.endswith("Z"):
        return f"{stamp[:10]} {stamp[11:19]} UTC"
    return stamp
