"""The option --line: which protocol the raw bytes of a line are read by."""

from __future__ import annotations

from benchcheck.harness.model import Harness
from benchcheck.words.errors import UsageError


def check_line(line: str | None, harness: Harness | None) -> None:
    """Raise UsageError where it is neither a protocol that is built in nor one that the profile describes."""
    from benchcheck.harness.reading.hints import did_you_mean, shown
    from benchcheck.traffic.lines.protocols import protocols_of

    known = list(protocols_of(harness))
    if line is not None and line not in known:
        raise UsageError(f"no line protocol {shown(line)}", hint=did_you_mean(line, known, what="Protocols"))
