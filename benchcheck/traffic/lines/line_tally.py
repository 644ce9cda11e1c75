"""The tally of one serial line: bytes, sentences by result, types, rates, silences; the same in whatever cut the bytes come.

`types` holds everything that has the form of a sentence, and of each type how many are sound: with a good checksum, or
sent without one. Presence is judged from the sound ones only.

A part of a recording begins anywhere in a line. So a tally that may be merged behind an earlier one (`is_part`) keeps
the bytes up to its first line end, and every type; merged behind the others and flushed, it is the tally of the whole
to the last digit. Only `flush` judges what such a part keeps.
"""

from __future__ import annotations

from collections import Counter
from copy import copy
from dataclasses import dataclass, replace

from benchcheck.traffic.lines.line_silences import LineGap, LineSilences
from benchcheck.traffic.lines.nmea import SentenceResult
from benchcheck.traffic.lines.protocols import BUILT_IN, LineProtocol
from benchcheck.traffic.tallies.pieces import SECOND_NS, STEP_FORWARD_NS

PROTOCOLS = tuple(BUILT_IN)

_PRINTABLE = bytes([*range(0x20, 0x7F), 9, 10, 13])
_KEPT = 32
_MOST_TYPES = 1000  # garbage makes up ever new words: beyond these, new ones count as `other`


@dataclass(slots=True)
class TypeTally:
    """How often a type came, how often of these with nothing wrong, and the stamps of the chunks in which its first and
    latest one ended; how many had a good checksum. Of the times from one to the next, clock steps left out: the longest,
    how many, and their sum."""

    count: int
    sound: int
    first_ns: int
    last_ns: int
    good: int = 0
    max_gap_ns: int | None = None
    gaps: int = 0
    gap_sum_ns: int = 0


class LineTally:
    """Fed raw bytes of one direction of a line; `time_ns` is the stamp of the chunk."""

    def __init__(self, protocol: str | LineProtocol, origin_ns: int | None = None) -> None:
        """`protocol` is one of PROTOCOLS by name, or one that a profile describes; raises ValueError otherwise.

        origin_ns  first stamp of the whole recording, where windows start; left out, it is the first that comes in. A
                   part that is to be merged behind an earlier one must be given it.
        """
        if isinstance(protocol, str):
            if protocol not in BUILT_IN:
                raise ValueError(f"no line protocol {protocol!r}; there are {', '.join(PROTOCOLS)}")
            protocol = BUILT_IN[protocol]
        self.form = protocol
        self.origin_ns = origin_ns
        self.bytes = 0
        self.begins = b""  # its first bytes, so that garbage can be looked at
        self.good = 0
        self.bad_checksum = 0
        self.no_checksum = 0
        self.other = 0
        self.over_long = 0
        self.framing_errors: int | None = None  # None: the port can't tell
        self.types: dict[str, TypeTally] = {}
        self.first_ns: int | None = None
        self.last_ns: int | None = None
        self.bytes_by_second: Counter[int] = Counter()
        self._silences = LineSilences()
        self._printable = 0
        self._is_part = origin_ns is not None
        self._head: list[tuple[int, bytes]] | None = [] if self._is_part else None  # None once a line has ended
        self._head_end = b""  # the last bytes of the head, in which an end may have begun
        self._first_line: list[tuple[int, bytes]] = []
        self._flushed = False
        self._parser = self.form.parser()

    @property
    def protocol(self) -> str:
        """The name of the protocol."""
        return self.form.name

    @property
    def printable_share(self) -> float | None:
        """Share of bytes that are printable ASCII, tab, CR or LF: low where the baud rate is wrong."""
        return self._printable / self.bytes if self.bytes else None

    @property
    def understood(self) -> int:
        """Sentences or lines that are what the protocol says."""
        return self.good + self.no_checksum

    @property
    def faulty(self) -> int:
        """Sentences or lines that are not what they should be: a wrong checksum, or no line where the protocol has none."""
        return self.bad_checksum if self.form.is_summed else self.bad_checksum + self.other

    @property
    def busiest_second(self) -> tuple[int, int] | None:
        """(second from the origin on, bytes in it) of the second with the most bytes, the first of equal ones."""
        if not self.bytes_by_second:
            return None
        return min(self.bytes_by_second.items(), key=lambda entry: (-entry[1], entry[0]))

    @property
    def silence_threshold_ns(self) -> int:
        """The least length of a silence of this line (see line_silences)."""
        return self._silences.threshold_ns()

    def silences(self) -> list[LineGap]:
        """Silences of the line, by time."""
        return self._silences.silences()

    def feed(self, data: bytes, time_ns: int = 0, *, framing_errors: int | None = None) -> None:
        """Take in the next bytes, and how many framing errors the port told of with them (None: it can't tell)."""
        self._add_framing_errors(framing_errors)
        if not data:
            return
        if self.origin_ns is None:
            self.origin_ns = time_ns
        self.bytes += len(data)
        if len(self.begins) < _KEPT:
            self.begins += data[: _KEPT - len(self.begins)]
        self._printable += len(data) - len(data.translate(None, _PRINTABLE))
        self.bytes_by_second[(time_ns - self.origin_ns) // SECOND_NS] += len(data)
        self.first_ns = time_ns if self.first_ns is None else self.first_ns
        if self.last_ns is not None:
            self._silences.between(self.last_ns, time_ns)
        self.last_ns = time_ns
        self._take(data, time_ns)

    def flush(self) -> None:
        """Judge what stands in the last line without an end: when the bytes of a file are all there are."""
        if self._is_part:  # nothing came before it after all
            whole = LineTally(self.form)
            whole.merge(self)
            self.__dict__.update(whole.__dict__)
        self._parse(None, self.last_ns or 0)
        self._flushed = True

    def merge(self, later: LineTally) -> None:
        """Take in the tally of the part that follows.

        Raises ValueError where it can't follow: another protocol or origin, one that began a recording, or one of the
        two was flushed.
        """
        if later.protocol != self.protocol:
            raise ValueError("tallies of different protocols can't be merged")
        if self._flushed or later._flushed:
            raise ValueError("a line tally that was flushed can't be merged")
        self._add_framing_errors(later.framing_errors)
        if not later.bytes:
            return
        if self.origin_ns is None:
            self.origin_ns = later.origin_ns
        if not later._is_part or later.origin_ns != self.origin_ns:
            raise ValueError(
                "a tally that began a recording, or has another origin, can't be merged behind another one"
            )
        self.bytes += later.bytes
        self.begins += later.begins[: _KEPT - len(self.begins)]
        self._printable += later._printable
        self.bytes_by_second.update(later.bytes_by_second)
        self.first_ns = later.first_ns if self.first_ns is None else self.first_ns
        if self.last_ns is not None and later.first_ns is not None:
            self._silences.between(self.last_ns, later.first_ns)
        self._silences.merge(later._silences)
        self.last_ns = later.last_ns
        for time_ns, data in later._first_line if later._head is None else later._head:
            self._take(data, time_ns)
        if later._head is not None:
            return  # no line has ended in it
        self.good += later.good
        self.bad_checksum += later.bad_checksum
        self.no_checksum += later.no_checksum
        self.other += later.other
        self.over_long += later.over_long
        for kind, found in later.types.items():
            self._count_type(kind, replace(found))
        self._parser = copy(later._parser)

    def _add_framing_errors(self, more: int | None) -> None:
        if more is not None:
            self.framing_errors = (self.framing_errors or 0) + more

    def _take(self, data: bytes, time_ns: int) -> None:
        if self._head is None:
            self._parse(data, time_ns)
            return
        seen = self._head_end + data
        end = self.form.end.search(seen)
        if end is None:
            self._head.append((time_ns, data))
            self._head_end = seen[-self.form.end_bytes + 1 :] if self.form.end_bytes > 1 else b""
            return
        place = end.end() - len(self._head_end)
        self._first_line, self._head = [*self._head, (time_ns, data[:place])], None
        self._parse(data[place:], time_ns)

    def _parse(self, data: bytes | None, time_ns: int) -> None:
        longest = self.form.longest
        for sentence in self._parser.flush() if data is None else self._parser.feed(data):
            self._count(sentence.result, sentence.type, time_ns)
            if longest is not None and sentence.result is not SentenceResult.OTHER and len(sentence.raw) + 2 > longest:
                self.over_long += 1

    def _count(self, result: SentenceResult, kind: str, time_ns: int) -> None:
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
            sound = int(result is not SentenceResult.BAD_CHECKSUM)
            self._count_type(kind, TypeTally(1, sound, time_ns, time_ns, int(result is SentenceResult.GOOD)))

    def _count_type(self, kind: str, later: TypeTally) -> None:
        known = self.types.get(kind)
        if known is None:
            if self._is_part or len(self.types) < _MOST_TYPES:
                self.types[kind] = later
            else:
                self.good -= later.good
                self.no_checksum -= later.sound - later.good
                self.bad_checksum -= later.count - later.sound
                self.other += later.count
            return
        between = later.first_ns - known.last_ns
        gaps = [between] if 0 <= between <= STEP_FORWARD_NS else []
        known.gaps += later.gaps + len(gaps)
        known.gap_sum_ns += later.gap_sum_ns + sum(gaps)
        gaps += [gap for gap in (known.max_gap_ns, later.max_gap_ns) if gap is not None]
        known.max_gap_ns = max(gaps, default=None)
        known.count += later.count
        known.sound += later.sound
        known.good += later.good
        known.last_ns = later.last_ns
