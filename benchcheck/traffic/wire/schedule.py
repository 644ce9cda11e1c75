"""What a message set can do to a bus at worst: load, and how late each message may come.

Classic frames: Davis, Burns, Bril and Lukkien, "Controller Area Network (CAN) schedulability analysis: Refuted,
revisited and revised", Real-Time Systems 35 (2007): the corrected analysis. A message waits at most for one frame of
lower priority that has just begun (blocking), for all frames of higher priority, and for its own earlier instances: so
every instance in the busy period of its priority level is looked at, not the first alone. Response time = queuing
jitter + waiting + the frame itself. The deadline is the period.

FD frames (messages of more than 8 bytes): where the bus has a data bit rate, the bits between the BRS bit and the end of
the CRC field are sent at it, stuff bits before them counted as slow as can be; else all are sent at the nominal bit rate,
which is the worst. The analysis asks how long a frame takes and how long a bit of arbitration does, nothing else, so it
holds for frames at two rates. Messages of up to 8 bytes are taken for classic frames: what the set says no more of.

A message without a period is taken to come at most once in any busy period, which nobody has promised: with such ones
the answer is a condition and no bound, unless a least interval is given for them. Repeated frames after bus errors are
not in it. Times are reckoned in whole numbers of 1 / (bit rate * data bit rate * 10^9) s (without a second one: of
1 / (bit rate * 10^9) s), so nothing is rounded on the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from benchcheck.words.frames import FD_LENGTHS
from benchcheck.words.verdict import Outcome

SOURCE = "Davis, Burns, Bril, Lukkien 2007, revised schedulability analysis"
SECOND_NS = 1_000_000_000
# 13 bits after the CRC sequence that are never stuffed: CRC delimiter 1, acknowledgement 2, end of frame 7, intermission 3
_CLASSIC_TAIL_BITS = 13
_FD_TAIL_BITS = 12
_FD_SLOW_BITS, _FD_SLOW_BITS_EXTENDED = 17, 36  # of the header, up to the BRS bit: all but ESI and the length code
_MOST_PERIODS = 1000  # in one busy period, of the longest period: a bus so near to full is told as without a bound


class FrameBits(NamedTuple):
    """Fewest and most bits that a frame takes, from start of frame through intermission."""

    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Sent:
    """One message as it is put on the bus.

    period_ns  least time between two of it; None: on occasion
    jitter_ns  how long its queuing may be put off after the instant at which it is due
    """

    can_id: int
    extended: bool
    length: int
    period_ns: int | None
    jitter_ns: int = 0
    name: str = ""
    sender: str = ""

    @property
    def text(self) -> str:
        """Upper-case hex, 3 digits for a base identifier and 8 for an extended one."""
        return f"{self.can_id:08X}" if self.extended else f"{self.can_id:03X}"


@dataclass(frozen=True, slots=True)
class Response:
    """What one message meets at worst.

    frame_ns     what the frame itself takes at least, without a stuff bit (rounded down)
    response_ns  from being due to the end of its frame, at worst (rounded up); None where there is no bound
    instance     which instance of the busy period that is, from 0; instances: how many there are
    verdict      PASS: within the period; FAIL: not; UNSURE: it has no period, or hangs on messages that have none
    """

    message: Sent
    bits: FrameBits
    frame_ns: int
    response_ns: int | None
    instance: int
    instances: int
    verdict: Outcome


@dataclass(frozen=True, slots=True)
class Schedule:
    """Responses by priority, and the load of the messages that have a period, in percent.

    occasional  the messages without a period, which are in no load
    """

    bitrate: int
    data_bitrate: int | None
    responses: tuple[Response, ...]
    least_load_percent: float
    worst_load_percent: float
    occasional: tuple[Sent, ...]

    @property
    def verdict(self) -> Outcome:
        """Of the response times: FAIL before UNSURE before PASS."""
        outcomes = {response.verdict for response in self.responses}
        if Outcome.FAIL in outcomes:
            return Outcome.FAIL
        return Outcome.UNSURE if Outcome.UNSURE in outcomes or not outcomes else Outcome.PASS


def frame_bits(length: int, extended: bool) -> FrameBits:
    """Bits of a data frame of `length` bytes without a stuff bit, and with as many as the rule of five allows.

    Most, classic: g + 8s + 13 + floor((g + 8s - 1) / 4), g being 34 or 54 bits (Davis et al. 2007, equation for C_m; the
    same numbers in Linux include/linux/can/length.h). A length between those of FD frames is padded to the next.
    Raises ValueError for a length that no frame has.
    """
    if not 0 <= length <= FD_LENGTHS[-1]:
        raise ValueError(f"no frame has {length} data bytes")
    if length <= 8:
        stuffed = (54 if extended else 34) + 8 * length
        tail = _CLASSIC_TAIL_BITS
    else:
        size = next(size for size in FD_LENGTHS if size >= length)
        stuffed = (41 if extended else 22) + 8 * size
        tail = (28 if size <= 16 else 33) + _FD_TAIL_BITS
    return FrameBits(stuffed + tail, stuffed + (stuffed - 1) // 4 + tail)


def switched_bits(length: int, extended: bool) -> FrameBits:
    """Those of `frame_bits` that an FD frame with bit-rate switch sends at the data bit rate; none of a classic frame.

    Least: without a stuff bit. Most: what is left to them where the part before has all the stuff bits that it can have.
    """
    if length <= 8:
        return FrameBits(0, 0)
    whole = frame_bits(length, extended)
    slow = _FD_SLOW_BITS_EXTENDED if extended else _FD_SLOW_BITS
    return FrameBits(whole.least - slow - _FD_TAIL_BITS, whole.most - slow - (slow - 1) // 4 - _FD_TAIL_BITS)


def priority(can_id: int, extended: bool) -> tuple[int, int, int]:
    """Sorts messages as arbitration does: the lowest wins. A base frame wins over an extended one of the same 11 bits:
    its RTR bit is dominant where the extended one has its recessive SRR."""
    return (can_id >> 18, 1, can_id & 0x3FFFF) if extended else (can_id, 0, 0)


def schedule(messages: Sequence[Sent], bitrate: int, data_bitrate: int | None = None) -> Schedule:
    """Worst-case load and response times of a message set at `bitrate` bit/s.

    data_bitrate  bit/s to which FD frames switch; None: they don't

    Raises ValueError for an identifier that is there twice (two senders of one identifier can't be analysed), and for
    lengths, periods and rates that can't be.
    """
    if bitrate <= 0:
        raise ValueError(f"no bit rate: {bitrate}")
    if data_bitrate is not None and data_bitrate < bitrate:
        raise ValueError(f"a data bit rate of {data_bitrate} is below the bit rate, {bitrate}")
    if len({(message.can_id, message.extended) for message in messages}) < len(messages):
        raise ValueError("an identifier is there twice")
    if any(message.jitter_ns < 0 or (message.period_ns is not None and message.period_ns <= 0) for message in messages):
        raise ValueError("a period is above 0, a jitter is not below 0")
    ordered = sorted(messages, key=lambda message: priority(message.can_id, message.extended))
    bits = [frame_bits(message.length, message.extended) for message in ordered]
    clock = _Clock(bitrate, data_bitrate)
    least = [clock.ticks(message, both.least, most=False) for message, both in zip(ordered, bits, strict=True)]
    most = [clock.ticks(message, both.most, most=True) for message, both in zip(ordered, bits, strict=True)]
    level = _Level(ordered, most, clock)
    hangs = False  # whether something of this or a higher priority has no period
    responses = []
    for number, message in enumerate(ordered):
        hangs = hangs or message.period_ns is None
        worst, instance, instances = level.response(number)
        if message.period_ns is None:
            verdict = Outcome.UNSURE
        elif worst is None or worst > message.period_ns * clock.nanosecond:
            verdict = Outcome.FAIL
        else:
            verdict = Outcome.UNSURE if hangs else Outcome.PASS
        rounded = None if worst is None else -(-worst // clock.nanosecond)
        own = least[number] // clock.nanosecond
        responses.append(Response(message, bits[number], own, rounded, instance, instances, verdict))
    return Schedule(
        bitrate,
        data_bitrate,
        tuple(responses),
        _load(ordered, least, clock),
        _load(ordered, most, clock),
        tuple(message for message in ordered if message.period_ns is None),
    )


def _load(messages: Sequence[Sent], frames: Sequence[int], clock: _Clock) -> float:
    each = (
        Fraction(100 * ticks, message.period_ns * clock.nanosecond)
        for message, ticks in zip(messages, frames, strict=True)
        if message.period_ns is not None
    )
    return round(float(sum(each, Fraction(0))), 6)


class _Clock:
    """Ticks of which every bit of either rate and every nanosecond has a whole number."""

    def __init__(self, bitrate: int, data_bitrate: int | None) -> None:
        self.switches = data_bitrate is not None
        self.nanosecond = bitrate * (data_bitrate or 1)
        self.bit = SECOND_NS * (data_bitrate or 1)
        self.data_bit = SECOND_NS * bitrate

    def ticks(self, message: Sent, bits: int, *, most: bool) -> int:
        """What a frame of so many bits takes."""
        if not self.switches:
            return bits * self.bit
        fast = switched_bits(message.length, message.extended)
        switched = fast.most if most else fast.least
        return (bits - switched) * self.bit + switched * self.data_bit


class _Level:
    """The message set in ticks of a clock; `frames` is what each message takes at most."""

    def __init__(self, messages: Sequence[Sent], frames: Sequence[int], clock: _Clock) -> None:
        self.bit = clock.bit
        self.frame = list(frames)
        self.period = [None if m.period_ns is None else m.period_ns * clock.nanosecond for m in messages]
        self.jitter = [m.jitter_ns * clock.nanosecond for m in messages]
        self.most = _MOST_PERIODS * max((period for period in self.period if period is not None), default=0)

    def response(self, number: int) -> tuple[int | None, int, int]:
        """(worst response in ticks or None, its instance, number of instances) of the message of this rank."""
        blocking = max(self.frame[number + 1 :], default=0)
        used = sum((self._share(k) for k in range(number + 1)), Fraction(0))
        # with more than a full bus, or a full one and blocking, the busy period never ends
        if used > 1 or (used == 1 and blocking):
            return None, 0, 0
        busy = self._busy_period(number, blocking)
        if busy is None:
            return None, 0, 0
        period, jitter = self.period[number], self.jitter[number]
        instances = 1 if period is None else -(-(busy + jitter) // period)
        worst, at = 0, 0
        waiting = blocking
        for q in range(instances):
            waiting = self._waiting(number, blocking + q * self.frame[number], max(waiting, blocking))
            response = jitter + waiting - q * (period or 0) + self.frame[number]
            if response > worst:
                worst, at = response, q
        return worst, at, instances

    def _share(self, k: int) -> Fraction:
        period = self.period[k]
        return Fraction(0) if period is None else Fraction(self.frame[k], period)

    def _arrivals(self, k: int, span: int) -> int:
        """How many of message k may be queued in a span that begins as all are queued together, at worst."""
        period = self.period[k]
        return 1 if period is None else -(-(span + self.jitter[k]) // period)

    def _busy_period(self, number: int, blocking: int) -> int | None:
        """Length of the busy period of this priority level; None where it is out of all measure."""
        span = self.frame[number]
        while True:
            longer = blocking + sum(self._arrivals(k, span) * self.frame[k] for k in range(number + 1))
            if longer == span:
                return span
            if self.most and longer > self.most:
                return None
            span = longer

    def _waiting(self, number: int, own: int, start: int) -> int:
        """When the frame begins, at worst: `own` is blocking and its own earlier instances; `start` a time not later."""
        span = max(own, start)
        while True:
            # a message that is queued within the bit in which the frame would begin still goes first: plus one bit
            longer = own + sum(self._arrivals(k, span + self.bit) * self.frame[k] for k in range(number))
            if longer <= span:
                return span
            span = longer
