"""RS-232 lines: what each transmitter sends and when, and what a receiver makes of it at its own speed."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from zlib import crc32

from benchcheck.harness.model import Harness, Link, Talk
from benchcheck.simulator.faults import ExchangedTalkers, Fault, WrongBaud
from benchcheck.simulator.sentences import line_of
from benchcheck.simulator.timing import Habit
from benchcheck.simulator.units import own_contact

SAME_SPEED = 0.03  # receivers bear about this much (2 to 5 % by FACTS of UART sampling; common practice)
STAGGER_S = 0.02
LOOK_BACK_S = 0.5  # a tap that begins to listen may fall into the middle of a sentence
BACKLOG_S = 2.0  # a line that is asked to carry more than it can loses what waits longer
JITTER = 0.01
UNTOLD_BAUD = 9600  # of a link for which the profile gives no speed


@dataclass(frozen=True, slots=True)
class Piece:
    """The part `begin`..`end` (0..1) of a sentence, as it went over the wire in some stretch of time."""

    sentence: bytes
    begin: float
    end: float

    def heard(self, sent_baud: int, tap_baud: int, framing: str = "8N1", *, inverted: bool = False) -> bytes:
        """What a receiver at `tap_baud` makes of this part; `inverted`: where mark and space are exchanged."""
        text = self.sentence
        if inverted or abs(tap_baud / sent_baud - 1) > SAME_SPEED:
            text = garble(text, sent_baud, tap_baud, framing, inverted=inverted)
        return text[int(self.begin * len(text)) : int(self.end * len(text))]


class LineSender:
    """One RS-232 transmitter of one unit: says every type of its talks at its period."""

    def __init__(self, unit: str, contact: str, said: Sequence[tuple[Link, Talk]], habit: Habit, baud: int) -> None:
        self.unit, self.contact, self.baud = unit, contact, baud
        self.framing = said[0][0].framing
        self._habit = habit
        self._said = [(link, kind, talk.period_s) for link, talk in said for kind in talk.types]
        self._last_s = -math.inf
        self._free_s = -math.inf
        self._under_way: deque[tuple[float, float, bytes]] = deque()
        self._since: float | None = None

    def advance(self, now: float, since: float | None) -> list[Piece]:
        """What went over the wire since the last call, up to `now`; `since` is when the unit got power."""
        if since is None or since != self._since:
            self._under_way.clear()
            self._free_s = -math.inf
            self._since = since
            self._last_s = max(self._last_s, since) if since is not None else now
        first_s, self._last_s = self._last_s, now
        if since is None:
            return []
        listened_s = first_s
        if now - first_s > LOOK_BACK_S:  # nobody has listened meanwhile
            self._under_way.clear()
            first_s, listened_s = now - LOOK_BACK_S, now
        self._queue(first_s, now, since)
        pieces: list[Piece] = []
        for begin_s, end_s, text in self._under_way:
            begin = max((listened_s - begin_s) / (end_s - begin_s), 0.0)
            end = min((now - begin_s) / (end_s - begin_s), 1.0)
            if begin < end:
                pieces.append(Piece(text, begin, end))
        while self._under_way and self._under_way[0][1] <= now:
            self._under_way.popleft()
        return pieces

    def _queue(self, first_s: float, last_s: float, since: float) -> None:
        begin_s = since + self._habit.boot_s + self._habit.delay_s
        due: list[tuple[float, int, Link, str]] = []
        for position, (link, kind, period_s) in enumerate(self._said):
            base = begin_s + STAGGER_S * position
            k = max(0, math.floor((first_s - base) / period_s) - 1)
            while base + (k - 1) * period_s <= last_s:
                wobble = JITTER * (crc32(f"{self.unit}/{kind}/{k}".encode()) / 0xFFFFFFFF - 0.5)
                at_s = base + (k + (wobble if k else 0.0)) * period_s
                if first_s < at_s <= last_s and self._habit.talks(at_s - since):
                    due.append((at_s, position, link, kind))
                k += 1
        for at_s, _, link, kind in sorted(due, key=lambda entry: entry[:2]):
            start_s = max(at_s, self._free_s)
            if start_s - at_s > BACKLOG_S:
                continue
            text = line_of(link, kind, at_s - since + 43200)
            self._free_s = start_s + len(text) * _bits(self.framing) / self.baud
            self._under_way.append((start_s, self._free_s, text))


def senders(harness: Harness, habits: dict[str, Habit], faults: Iterable[Fault] = ()) -> list[LineSender]:
    """One sender for each transmitter that a link of the profile names."""
    faults = tuple(faults)
    instead = _exchanged(harness, faults)
    said: dict[tuple[str, str], list[tuple[Link, Talk]]] = {}
    for link in harness.links:
        for talk in link.talks:
            own = own_contact(harness, talk.tx)
            if own is not None:
                said.setdefault(own, []).append((link, instead.get((link.name, talk.sender), talk)))
    found: list[LineSender] = []
    for (unit, contact), talks in said.items():
        link = talks[0][0]
        baud = link.baud or UNTOLD_BAUD
        for fault in faults:
            if isinstance(fault, WrongBaud) and (fault.link, fault.sender) == (link.name, unit):
                baud = fault.baud
        found.append(LineSender(unit, contact, talks, habits[unit], baud))
    return found


def _exchanged(harness: Harness, faults: Iterable[Fault]) -> dict[tuple[str, str], Talk]:
    """Link and sender -> what is said there by mistake: the talk of the other one."""
    talks = {(link.name, talk.sender): talk for link in harness.links for talk in link.talks}
    found: dict[tuple[str, str], Talk] = {}
    for fault in faults:
        if isinstance(fault, ExchangedTalkers):
            one, other = (fault.first, fault.first_sender), (fault.second, fault.second_sender)
            found |= {one: talks[other], other: talks[one]}
    return found


def _form(framing: str) -> tuple[int, str, float]:
    """Data bits, parity letter and stop bits of `8N1`."""
    return int(framing[0]), framing[1].upper(), float(framing[2:])


def _bits(framing: str) -> float:
    data_bits, parity, stop_bits = _form(framing)
    return 1 + data_bits + (parity != "N") + stop_bits


def garble(data: bytes, sent_baud: int, heard_baud: int, framing: str = "8N1", *, inverted: bool = False) -> bytes:
    """The bytes that a receiver at another speed reads off the same levels: start edge, then mid-bit samples.

    inverted   mark and space are exchanged: idle is a break, which ends with the first start bit and gives no byte

    A stop bit that is not there loses no byte, as in a port that marks no framing errors.
    """
    data_bits, parity, stop_bits = _form(framing)
    levels: list[int] = []
    for byte in data:
        bits = [byte >> i & 1 for i in range(data_bits)]
        check = [] if parity == "N" else [(sum(bits) + (parity == "O")) & 1]
        levels += [0, *bits, *check, *[1] * math.ceil(stop_bits)]
    if inverted:
        levels = [1 - bit for bit in levels]
    ratio = sent_baud / heard_baud  # sent bits for each heard one

    def level(at: float) -> int:
        return levels[int(at)] if at < len(levels) else 1

    heard = bytearray()
    at = 0.0
    while at < len(levels):
        if level(at):
            at = math.floor(at) + 1.0
            continue
        heard.append(sum(level(at + (i + 1.5) * ratio) << i for i in range(data_bits)))
        # on to the middle of the stop bit; found low, it is taken for the next start bit, as the usual parts do
        at += (1 + data_bits + (parity != "N") + 0.5) * ratio
    return bytes(heard)
