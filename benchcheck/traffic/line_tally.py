"""The tally of one serial line: bytes, sentences by result, types; the same in whatever cut the bytes come.

`types` holds everything that has the form of a sentence, and of each type how many are sound: with a good checksum, or
sent without one. Presence is judged from the sound ones only.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.traffic.nmea import LONGEST_SENTENCE, SentenceParser, SentenceResult
from benchcheck.traffic.text_line import TextLineParser

PROTOCOLS = ("nmea0183", "text")

_PRINTABLE = bytes([*range(0x20, 0x7F), 9, 10, 13])
_MOST_TYPES = 1000  # garbage makes up ever new words: beyond these, new ones count as `other`


@dataclass(slots=True)
class TypeTally:
    """How often a type came, how often of these with nothing wrong, and the stamps of the chunks in which its first and
    latest one ended."""

    count: int
    sound: int
    first_ns: int
    last_ns: int


class LineTally:
    """Fed raw bytes of one direction of a line; `time_ns` is the stamp of the chunk."""

    def __init__(self, protocol: str) -> None:
        """`protocol` is one of PROTOCOLS; raises ValueError otherwise."""
        if protocol not in PROTOCOLS:
            raise ValueError(f"no line protocol {protocol!r}; there are {', '.join(PROTOCOLS)}")
        self.protocol = protocol
        self.bytes = 0
        self.good = 0
        self.bad_checksum = 0
        self.no_checksum = 0
        self.other = 0
        self.over_long = 0
        self.types: dict[str, TypeTally] = {}
        self.first_ns: int | None = None
        self.last_ns: int | None = None
        self._printable = 0
        self._sentences = SentenceParser()
        self._lines = TextLineParser()

    @property
    def printable_share(self) -> float | None:
        """Share of bytes that are printable ASCII, tab, CR or LF: low where the baud rate is wrong."""
        return self._printable / self.bytes if self.bytes else None

    @property
    def understood(self) -> int:
        """Sentences or lines that are what the protocol says."""
        return self.good + self.no_checksum

    def feed(self, data: bytes, time_ns: int = 0) -> None:
        """Take in the next bytes."""
        if not data:
            return
        self.bytes += len(data)
        self._printable += len(data) - len(data.translate(None, _PRINTABLE))
        self.first_ns = time_ns if self.first_ns is None else self.first_ns
        self.last_ns = time_ns
        self._take(data, time_ns)

    def flush(self) -> None:
        """Judge what stands in the last line without an end: when the bytes of a file are all there are."""
        self._take(None, self.last_ns or 0)

    def _take(self, data: bytes | None, time_ns: int) -> None:
        if self.protocol == "text":
            for line in self._lines.flush() if data is None else self._lines.feed(data):
                self._count(SentenceResult.NO_CHECKSUM if line.type else SentenceResult.OTHER, line.type, time_ns)
            return
        for sentence in self._sentences.flush() if data is None else self._sentences.feed(data):
            self._count(sentence.result, sentence.type, time_ns)
            if sentence.result is not SentenceResult.OTHER and len(sentence.raw) + 2 > LONGEST_SENTENCE:
                self.over_long += 1

    def _count(self, result: SentenceResult, kind: str, time_ns: int) -> None:
        if kind and kind not in self.types and len(self.types) >= _MOST_TYPES:
            result, kind = SentenceResult.OTHER, ""
        match result:
            case SentenceResult.GOOD:
                self.good += 1
            case SentenceResult.BAD_CHECKSUM:
                self.bad_checksum += 1
            case SentenceResult.NO_CHECKSUM:
                self.no_checksum += 1
            case SentenceResult.OTHER:
                self.other += 1
        if kind:
            known = self.types.get(kind)
            sound = int(result is not SentenceResult.BAD_CHECKSUM)
            if known is None:
                self.types[kind] = TypeTally(1, sound, time_ns, time_ns)
            else:
                known.count += 1
                known.sound += sound
                known.last_ns = time_ns
