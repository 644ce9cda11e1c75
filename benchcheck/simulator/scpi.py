"""An instrument that takes SCPI lines: commands, queries, and the queue of errors."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Mapping

# A handler gets the parameters and gives the answer of a query, or None.
Handler = Callable[[list[str]], "str | None"]

OVERLOAD = 9.9e37
QUEUE_LENGTH = 20
LINE_LENGTH = 1024
_SHORT = {
    "MEASURE": "MEAS",
    "RESISTANCE": "RES",
    "FRESISTANCE": "FRES",
    "VOLTAGE": "VOLT",
    "CURRENT": "CURR",
    "OUTPUT": "OUTP",
    "SYSTEM": "SYST",
    "ERROR": "ERR",
    "SENSE": "SENS",
    "FUNCTION": "FUNC",
    "RANGE": "RANG",
    "STATE": "STAT",
    "ROUTE": "ROUT",
    "CLOSE": "CLOS",
}
_MESSAGES = {
    -102: "Syntax error",
    -109: "Missing parameter",
    -113: "Undefined header",
    -221: "Settings conflict",
    -222: "Data out of range",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}


class ScpiError(Exception):
    """What goes into the error queue."""

    def __init__(self, number: int) -> None:
        super().__init__(_MESSAGES[number])
        self.number = number


class ScpiInstrument:
    """Feed it bytes, get the bytes it answers. Never raises on what it is fed."""

    def __init__(self, identity: str, handlers: Mapping[str, Handler], reset: Callable[[], None] | None = None) -> None:
        self._handlers: dict[str, Handler] = {
            "*IDN?": lambda _: identity,
            "*OPC?": lambda _: "1",
            "*CLS": self._clear,
            "*RST": self._reset,
            "SYST:ERR?": self._next_error,
            "SYST:ERR:NEXT?": self._next_error,
            **handlers,
        }
        self._on_reset = reset
        self._errors: deque[int] = deque()
        self._buffer = bytearray()

    def feed(self, data: bytes) -> bytes:
        """The answers to the whole lines in what has come so far."""
        self._buffer += data
        answers = bytearray()
        while (end := self._buffer.find(b"\n")) >= 0:
            line = self._buffer[:end].decode("latin-1")
            del self._buffer[: end + 1]
            answer = self._line(line)
            if answer:
                answers += answer.encode("latin-1", "replace") + b"\n"
        if len(self._buffer) > LINE_LENGTH:
            self._buffer.clear()
            self._note(-363)
        return bytes(answers)

    def _line(self, line: str) -> str:
        answers = []
        for command in line.split(";"):
            text = command.strip().lstrip(":")
            if not text:
                continue
            header, _, rest = text.partition(" ")
            try:
                handler = self._handlers.get(_short(header))
                if handler is None:
                    raise ScpiError(-113)
                answer = handler([part.strip() for part in rest.split(",")] if rest.strip() else [])
            except ScpiError as error:
                self._note(error.number)
            else:
                if answer is not None:
                    answers.append(answer)
        return ";".join(answers)

    def _note(self, number: int) -> None:
        if len(self._errors) >= QUEUE_LENGTH:
            self._errors[-1] = -350
        else:
            self._errors.append(number)

    def _next_error(self, _: list[str]) -> str:
        if not self._errors:
            return '+0,"No error"'
        number = self._errors.popleft()
        return f'{number},"{_MESSAGES[number]}"'

    def _clear(self, _: list[str]) -> None:
        self._errors.clear()

    def _reset(self, _: list[str]) -> None:
        if self._on_reset is not None:
            self._on_reset()


def _short(header: str) -> str:
    query = "?" if header.endswith("?") else ""
    words = header.upper().rstrip("?").split(":")
    return ":".join(_SHORT.get(word, word) for word in words) + query


def number_text(value: float) -> str:
    """`+1.23400000E+00`, the way instruments print numbers."""
    return f"{value:+.8E}"


def switch(parameters: list[str]) -> bool:
    """ON or OFF, as a command was given it. Raises ScpiError."""
    if not parameters:
        raise ScpiError(-109)
    word = parameters[0].upper()
    if word not in ("ON", "OFF", "1", "0"):
        raise ScpiError(-102)
    return word in ("ON", "1")


def parameter(parameters: list[str], low: float, high: float) -> float:
    """The one number that a command was given, in range. Raises ScpiError."""
    if not parameters:
        raise ScpiError(-109)
    match = re.fullmatch(r"([+-]?\d*\.?\d+(?:[eE][+-]?\d+)?)\s*[VA]?", parameters[0], re.IGNORECASE)
    if match is None:
        raise ScpiError(-102)
    value = float(match[1])
    if not low <= value <= high:
        raise ScpiError(-222)
    return value
