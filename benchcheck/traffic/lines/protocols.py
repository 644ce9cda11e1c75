"""The protocols of serial lines, all in one place: those that are built in, and those that a profile describes.

To add one, give it an entry in `BUILT_IN`: its parser is fed bytes in any cut, never raises, and gives sentences.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from benchcheck.harness.line_protocol import ChecksumKind, TextProtocol
from benchcheck.harness.model import Harness, Link
from benchcheck.traffic.lines.described_line import DescribedLineParser
from benchcheck.traffic.lines.nmea import LONGEST_SENTENCE, Sentence, SentenceParser
from benchcheck.traffic.lines.text_line import TextLineParser


class LineParser(Protocol):
    """Copied by `copy.copy` where parts merge: it keeps values that are replaced, never changed in place."""

    def feed(self, data: bytes) -> list[Sentence]:
        """What the lines that `data` ends held."""

    def flush(self) -> list[Sentence]:
        """What stands in the last line, which has no end."""


@dataclass(frozen=True, slots=True)
class LineProtocol:
    """One protocol.

    noun       what a line is called
    is_summed  whether a good line has a checksum, so that garbage is hardly ever taken for one
    end        finds the end of a line; `end_bytes` long, and never within another end
    longest    characters beyond which a line is over-long, line end (2) included; None: no such limit
    """

    name: str
    noun: str
    is_summed: bool
    end: re.Pattern[bytes]
    end_bytes: int
    longest: int | None
    parser: Callable[[], LineParser]


BUILT_IN: Mapping[str, LineProtocol] = {
    entry.name: entry
    for entry in (
        LineProtocol("nmea0183", "sentence", True, re.compile(rb"[\r\n]"), 1, LONGEST_SENTENCE, SentenceParser),
        LineProtocol("text", "readable line", False, re.compile(rb"\n"), 1, None, TextLineParser),
    )
}


def described(protocol: TextProtocol) -> LineProtocol:
    """A protocol that a profile describes."""
    end = re.compile(re.escape(protocol.delimiter))
    is_summed = protocol.checksum.kind is not ChecksumKind.NONE
    parser = partial(DescribedLineParser, protocol)
    return LineProtocol(protocol.name, "line", is_summed, end, len(protocol.delimiter), None, parser)


def protocols_of(harness: Harness | None) -> dict[str, LineProtocol]:
    """Every protocol that a recording can be read by, by name: the profile's own beside those that are built in."""
    own = {} if harness is None else {entry.name: described(entry) for entry in harness.protocols}
    return {**own, **BUILT_IN}


def protocol_of(link: Link) -> LineProtocol:
    """The protocol of a link."""
    return BUILT_IN[link.protocol] if link.described is None else described(link.described)
