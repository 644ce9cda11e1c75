"""The hands of a simulated bench: probes, plugs, taps and loads, moved by command.

At a real bench a person does this. The simulated one takes a line of text for each move and answers `ok` or
`error` with the reason.
"""

from __future__ import annotations

import json
import time

from benchcheck.bench.port import PORT_ERRORS, close_port, open_port, printable
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import LinkLost, SetupError

_LONGEST_ANSWER = 4096


class Hands:
    """Moves things on a simulated bench. SetupError when a move is refused, LinkLost when the bench is gone."""

    def __init__(self, port: str, *, timeout_s: float = 5.0) -> None:
        self.port = port
        self.timeout_s = timeout_s
        self._handle = open_port(port)

    def touch(self, red: str, black: str) -> None:
        """The meter's leads touch two contacts; a lifted lug is written `W231@GND2`."""
        self._say("probes", red, black)

    def bring_to(self, state: BenchState) -> None:
        """Plug, unplug, lift and pull until the bench is in `state`. The supply is not touched."""
        self._say("state", json.dumps(state.to_json(), separators=(",", ":")))

    def tap(self, name: str, contact: str, ground: str, baud: int | None = None) -> None:
        """The receive wire of serial tap `name` touches `contact`, its ground `ground`.

        `baud` tells the listener's speed where the bench can't see it (over TCP).
        """
        self._say("tap", name, contact, ground, *([] if baud is None else [str(baud)]))

    def loop(self, name: str, send: str, hear: str, ground: str, bridge: tuple[str, str] | None = None) -> None:
        """The transmit wire of serial tap `name` touches `send`, its receive wire `hear`; `bridge` joins two contacts."""
        self._say("loop", name, send, hear, ground, *(bridge or ()))

    def loop_off(self, name: str) -> None:
        """Take all of that off."""
        self._say("loop", name, "off")

    def load(self, contact: str, ground: str, amps: float) -> None:
        """A resistor that draws about `amps` at nominal volts between two contacts."""
        self._say("load", contact, ground, f"{amps:g}")

    def unload(self) -> None:
        """Take that resistor off."""
        self._say("load", "off")

    def close(self) -> None:
        close_port(self._handle)

    def _say(self, *words: str) -> None:
        for word in words:
            if not word or not word.isascii() or not word.isprintable() or " " in word:
                raise SetupError(f"'{printable(word)}' can't be a name on the bench", where=self._where(words))
        line = " ".join(words)
        try:
            self._handle.reset_input_buffer()
            self._handle.write(line.encode("ascii") + b"\n")
            answer = self._answer()
        except PORT_ERRORS as error:
            raise LinkLost(
                f"link lost ({printable(' '.join(str(error).split()))[:120]})", where=self._where(words)
            ) from None
        if answer == "ok":
            return
        if answer.startswith("error"):
            raise SetupError(answer[5:].strip() or "refused without a reason", where=self._where(words))
        raise SetupError(f"answers '{answer[:80]}'", where=self._where(words), hint="Is this port the bench's hands?")

    def _answer(self) -> str:
        deadline = time.monotonic() + self.timeout_s
        line = bytearray()
        while not line.endswith(b"\n"):
            line += self._handle.read(max(1, self._handle.in_waiting))
            if len(line) > _LONGEST_ANSWER or (time.monotonic() > deadline and not line.endswith(b"\n")):
                raise LinkLost("does not answer", where=f"the simulated bench's hands at {self.port}")
        return printable(bytes(line).strip())

    def _where(self, words: tuple[str, ...]) -> str:
        return printable(f"the simulated bench's hands, {' '.join(words)[:80]}")
