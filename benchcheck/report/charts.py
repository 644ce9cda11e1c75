"""Small drawings of readings against their limits, as SVG inside the page. Readable without colour."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup, escape

from benchcheck.report.model import BusRow, StepRow, UnitRow, Word
from benchcheck.report.visible import visible
from benchcheck.words.reading import format_quantity

_WIDTH = 640
_LANE = 22
_LABEL = 150
_RIGHT = 150


def band_chart(rows: Sequence[StepRow]) -> Markup:
    """A lane for each reading: its band in the middle half, the reading as a mark with its uncertainty.

    Lanes are scaled to their own band, so feeds of different volts compare. Rows without a band on both sides, and
    rows without a value, are left out; no lane gives no drawing.
    """
    lanes = [
        (row, row.low, row.high, row.value)
        for row in rows
        if row.low is not None and row.high is not None and row.value is not None
    ]
    if not lanes:
        return Markup("")
    inner = _WIDTH - _LABEL - _RIGHT
    low_x, high_x = _LABEL + inner * 0.25, _LABEL + inner * 0.75
    parts = []
    for index, (row, low, high, value) in enumerate(lanes):

        def place(at: float, low: float = low, span: float = (high - low) or 1.0) -> float:
            return min(max(low_x + (at - low) / span * (high_x - low_x), _LABEL + 4.0), _WIDTH - _RIGHT - 4.0)

        middle = index * _LANE + _LANE / 2
        width = row.half_width or 0.0
        parts.append(_text(0, middle, row.contacts.split(" to ")[0]))
        parts.append(
            f'<rect class="band" x="{low_x:.1f}" y="{middle - 7:.1f}" width="{high_x - low_x:.1f}" height="14"/>'
            f'<line class="axis" x1="{_LABEL}" x2="{_WIDTH - _RIGHT}" y1="{middle:.1f}" y2="{middle:.1f}"/>'
            f'<line class="whisker" x1="{place(value - width):.1f}" x2="{place(value + width):.1f}" '
            f'y1="{middle:.1f}" y2="{middle:.1f}"/>'
        )
        parts.append(_mark(row.word, place(value), middle))
        parts.append(_text(_WIDTH - _RIGHT + 8, middle, f"{format_quantity(value, row.unit)}  {row.word.value}"))
    return _svg(len(lanes) * _LANE, parts, "Readings against their bands")


def load_chart(bus: BusRow) -> Markup:
    """The load of a bus second by second, with its limit as a dashed line."""
    seconds = bus.load_by_second
    if not seconds:
        return Markup("")
    height, left, foot = 120, 44, 18
    limit = bus.load_limit_percent
    top = max(10.0, *seconds, limit or 0.0) * 1.1
    pitch = (_WIDTH - left - 70) / len(seconds)

    def level(percent: float) -> float:
        return (height - foot) * (1 - percent / top) + 4

    parts = [
        f'<rect class="bar" x="{left + index * pitch:.2f}" y="{level(percent):.1f}" '
        f'width="{max(pitch * 0.8, 0.4):.2f}" height="{max(level(0) - level(percent), 0.0):.1f}"/>'
        for index, percent in enumerate(seconds)
    ]
    parts.append(
        f'<line class="axis" x1="{left}" x2="{_WIDTH - 70}" y1="{level(0):.1f}" y2="{level(0):.1f}"/>'
        + _text(0, level(0), "0 %")
        + _text(left, level(0) + 11, "0 s")
        + _text(_WIDTH - 70, level(0) + 11, f"{len(seconds)} s")
    )
    if limit is not None:
        parts.append(
            f'<line class="limit" x1="{left}" x2="{_WIDTH - 70}" y1="{level(limit):.1f}" y2="{level(limit):.1f}"/>'
            + _text(_WIDTH - 64, level(limit), f"limit {limit:g} %")
        )
    peak = max(seconds)
    parts.append(_text(0, level(peak), f"{peak:.3g} %"))
    return _svg(height + 10, parts, f"Load of {visible(bus.bus)} by second")


def boot_chart(units: Sequence[UnitRow]) -> Markup:
    """When each unit was first heard after power-on, earliest first, with its own limit as a tick."""
    heard = sorted((row for row in units if row.first_s is not None), key=lambda row: row.first_s or 0.0)
    if not heard:
        return Markup("")
    longest = max(max(row.first_s or 0.0, row.boot_s or 0.0) for row in heard) or 1.0
    inner = _WIDTH - _LABEL - _RIGHT

    def place(seconds: float) -> float:
        return _LABEL + inner * max(seconds, 0.0) / longest

    parts = []
    for index, row in enumerate(heard):
        middle = index * _LANE + _LANE / 2
        first = row.first_s or 0.0
        style = "bar" if row.word is Word.PASS else "bar bad"
        parts.append(_text(0, middle, row.unit))
        parts.append(
            f'<rect class="{style}" x="{_LABEL}" y="{middle - 5:.1f}" width="{place(first) - _LABEL:.1f}" height="10"/>'
        )
        if row.boot_s is not None:
            tick = place(row.boot_s)
            parts.append(
                f'<line class="limit" x1="{tick:.1f}" x2="{tick:.1f}" y1="{middle - 9:.1f}" y2="{middle + 9:.1f}"/>'
            )
        parts.append(_text(_WIDTH - _RIGHT + 8, middle, f"{first:.2f} s  {row.word.value}"))
    return _svg(len(heard) * _LANE, parts, "First message of each unit after power-on")


def _mark(word: Word, x: float, y: float) -> str:
    if word is Word.PASS:
        return f'<circle class="mark" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
    if word is Word.FAIL:
        return f'<path class="cross" d="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10"/>'
    return f'<path class="open" d="M{x:.1f} {y - 5:.1f}l5 9h-10z"/>'


def _text(x: float, y: float, words: str) -> str:
    return f'<text x="{x:.1f}" y="{y + 4:.1f}">{escape(visible(words))}</text>'


def _svg(height: float, parts: Sequence[str], title: str) -> Markup:
    return Markup(
        f'<svg class="chart" viewBox="0 0 {_WIDTH} {height:.0f}" role="img" aria-label="{escape(title)}">'
        f"{''.join(parts)}</svg>"
    )
