"""The live text of `benchcheck listen`: a line a second for each bus and line, and a line for each change."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from benchcheck.cli.output import say
from benchcheck.cli.survey_text import escaped
from benchcheck.words.quantity import counted

if TYPE_CHECKING:
    from benchcheck.jobs.listening.live_listening import BusStatus, LineStatus

_MOST_TYPES = 8
_INDENT = 15
_ORDINARY = ("listening", "not heard yet", "no errors", "not reported by this adapter", "complete")


class Teller:
    """Says on stderr how things stand. `quiet`: only what changed. `width`: columns of the terminal, None where there is none."""

    def __init__(self, quiet: bool, width: int | None = None) -> None:
        self._quiet = quiet
        self._width = width
        self._passive: set[str] = set()
        self._states: dict[tuple[str, str], str] = {}

    def tell(self, at_s: float, buses: Sequence[BusStatus], lines: Sequence[LineStatus]) -> None:
        clock = f"{at_s:7.1f} s"
        for bus in buses:
            if bus.passive and bus.name not in self._passive:
                self._passive.add(bus.name)
                self._say(f"{clock}  {escaped(bus.name)}: {escaped(bus.passive)}")
            self._change(clock, bus.name, "", bus.link)
            self._change(clock, bus.name, "controller", bus.controller)
            self._change(clock, bus.name, "recording", _lost(bus))
            for unit in bus.units:
                state = unit.state.value or "not heard yet"
                self._change(clock, bus.name, unit.unit, state, unit.text)
            if not self._quiet:
                self._say(f"{clock}  {bus_line(bus)}")
        for line in lines:
            self._change(clock, line.name, "", line.link)
            if not self._quiet:
                self._say(f"{clock}  {line_line(line)}")

    def _change(self, clock: str, name: str, unit: str, state: str, text: str = "") -> None:
        before = self._states.get((name, unit))
        self._states[name, unit] = state
        if state == before or (before is None and state in _ORDINARY):
            return
        who = escaped(f"{name} {unit}".strip())
        why = f" - {escaped(text)}" if text and state != "present" else ""
        self._say(f"{clock}  > {who}: {escaped(state)}{why}")

    def _say(self, text: str) -> None:
        """Broken between words where the terminal is narrower."""
        if self._width is None or len(text) <= self._width:
            say(text)
            return
        lines = wrap(text, self._width, subsequent_indent=" " * _INDENT, break_long_words=False, break_on_hyphens=False)
        say("\n".join([text[: len(text) - len(text.lstrip())] + lines[0].lstrip(), *lines[1:]]))


def bus_line(bus: BusStatus) -> str:
    parts = [escaped(bus.link)]
    if bus.load_percent is not None and bus.mean_percent is not None:
        parts.append(f"load {bus.load_percent:.1f} %, mean {bus.mean_percent:.1f} %")
    parts.append(f"{counted(bus.frames, 'frame')}, {bus.frames_per_s}/s")
    if bus.error_frames is None:
        parts.append("error frames not reported by this adapter")
    else:
        parts.append(counted(bus.error_frames, "error frame"))
    parts.append(f"controller: {bus.controller}")
    if bus.dropped or bus.garbled:
        parts.append(_lost(bus))
    there = sum(unit.state.value == "present" for unit in bus.units)
    if bus.units:
        parts.append(f"{there} of {len(bus.units)} present")
    return f"{escaped(bus.name)}: {'; '.join(parts)}"


def _lost(bus: BusStatus) -> str:
    """What did not come through, in words."""
    parts = [f"{counted(bus.dropped, 'frame')} dropped"] if bus.dropped else []
    if bus.garbled:
        parts.append(f"{counted(bus.garbled, 'record')} garbled")
    return ", ".join(parts) or "complete"


def line_line(line: LineStatus) -> str:
    parts = [escaped(line.link), counted(line.bytes, "byte"), f"{line.good} good, {line.bad} bad"]
    if line.other:
        parts.append(f"{line.other} not understood")
    if line.framing_errors:
        parts.append(counted(line.framing_errors, "framing error"))
    if line.types:
        more = ", ..." if len(line.types) > _MOST_TYPES else ""
        parts.append(escaped(", ".join(line.types[:_MOST_TYPES])) + more)
    if line.last_s is not None and line.last_s >= 2.0:
        parts.append(f"silent for {line.last_s:.0f} s")
    return f"{escaped(line.name)}: {'; '.join(parts)}"
