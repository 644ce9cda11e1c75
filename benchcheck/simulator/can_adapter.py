"""The simulated CAN adapter: the ASCII serial-line protocol on one side, the bus on the other."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from benchcheck.simulator.bench_troubles import GARBLES, LOSES_FRAMES, REFUSES_SILENCE, SEES_ERRORS
from benchcheck.simulator.traffic import SentFrame

OK, REFUSED = b"\r", b"\a"
RATES = {
    "0": 10_000,
    "1": 20_000,
    "2": 50_000,
    "3": 100_000,
    "4": 125_000,
    "5": 250_000,
    "6": 500_000,
    "7": 750_000,
    "8": 1_000_000,
    "9": 83_300,
}
LINE_LENGTH = 64
OVERRUN = 0x08  # bits of the status flags: frames were dropped
BUS_ERROR = 0x80  # ...there were errors on the bus
EVERY = 10  # one frame of so many is lost or damaged, where that is the trouble
_SENDS = {"t": (3, True), "T": (8, True), "r": (3, False), "R": (8, False)}


class CanAdapter:
    """Feed it bytes, get its answers; give it frames, get the lines it passes on.

    closed, open and acknowledging (O), or open and listening only (L).
    on_close  called at C, so that what waits in the port can be thrown away
    troubles  see bench_troubles
    """

    def __init__(self, on_close: Callable[[], None] = lambda: None, troubles: frozenset[str] = frozenset()) -> None:
        self._troubles = troubles
        self._passed = 0
        self.bitrate: int | None = None
        self.is_open = False
        self.listen_only = False
        self.sent = 0  # frames the host asked to send
        self.dropped = 0  # frames that found the port full
        self._overrun = False
        self._stamps = False
        self._on_close = on_close
        self._buffer = bytearray()

    @property
    def acknowledges(self) -> bool:
        """Whether it acknowledges what others send."""
        return self.is_open and not self.listen_only

    def feed(self, data: bytes) -> bytes:
        """The answers to the whole commands in what has come so far."""
        self._buffer += data
        answers = bytearray()
        while (end := self._buffer.find(b"\r")) >= 0:
            command = self._buffer[:end].decode("latin-1").strip("\n")
            del self._buffer[: end + 1]
            answers += self._answer(command)
        if len(self._buffer) > LINE_LENGTH:
            self._buffer.clear()
            answers += REFUSED
        return bytes(answers)

    def lines(self, frames: Iterable[SentFrame]) -> list[bytes]:
        """The lines for frames that were received, one each."""
        if not self.is_open:
            return []
        lines = []
        for frame in frames:
            self._passed += 1
            is_tenth = self._passed % EVERY == 0
            if is_tenth and LOSES_FRAMES in self._troubles:
                self.drop()
                continue
            head = f"T{frame.can_id:08X}" if frame.extended else f"t{frame.can_id:03X}"
            stamp = f"{int(frame.at_s * 1000) % 60000:04X}" if self._stamps else ""
            text = f"{head}{len(frame.data)}{frame.data.hex().upper()}{stamp}"
            if is_tenth and GARBLES in self._troubles:
                text = text[: len(text) // 2] + "?"
            lines.append(f"{text}\r".encode("ascii"))
        return lines

    def drop(self) -> None:
        """A line found the port full."""
        self.dropped += 1
        self._overrun = True

    def _answer(self, command: str) -> bytes:
        if not command:
            return OK
        verb, rest = command[0], command[1:]
        if verb in _SENDS:
            return self._send(verb, rest)
        if verb == "S":
            return self._set_rate(RATES.get(rest))
        if verb == "s":
            return self._set_rate(_register_rate(rest))
        if verb in "OL" and not rest:
            if self.is_open or self.bitrate is None or (verb == "L" and REFUSES_SILENCE in self._troubles):
                return REFUSED
            self.is_open, self.listen_only = True, verb == "L"
            return OK
        if verb == "C" and not rest:
            self.is_open = False
            self._on_close()
            return OK
        if verb in "Vv" and not rest:
            return verb.encode() + b"1010\r"
        if verb == "N" and not rest:
            return b"NBCS1\r"
        if verb == "F" and not rest:
            flags, self._overrun = OVERRUN * self._overrun | BUS_ERROR * (SEES_ERRORS in self._troubles), False
            return f"F{flags:02X}\r".encode()
        if verb == "Z" and rest in ("0", "1") and not self.is_open:
            self._stamps = rest == "1"
            return OK
        return REFUSED

    def _set_rate(self, bitrate: int | None) -> bytes:
        if self.is_open or bitrate is None:
            return REFUSED
        self.bitrate = bitrate
        return OK

    def _send(self, verb: str, rest: str) -> bytes:
        digits, has_data = _SENDS[verb]
        try:
            identifier, length = int(rest[:digits], 16), int(rest[digits : digits + 1])
            data = bytes.fromhex(rest[digits + 1 :])
        except ValueError:
            return REFUSED
        wrong = identifier > (0x7FF if digits == 3 else 0x1FFFFFFF) or length > 8
        if wrong or not self.acknowledges or len(data) != (length if has_data else 0):
            return REFUSED
        self.sent += 1
        return OK


def _register_rate(text: str) -> int | None:
    """The bit rate of two bit-timing registers `xxyy` with a quantum clock of 8 MHz."""
    try:
        btr0, btr1 = bytes.fromhex(text)
    except ValueError:
        return None
    quanta = 1 + (btr1 & 15) + 1 + (btr1 >> 4 & 7) + 1
    return round(8e6 / ((btr0 & 63) + 1) / quanta)
