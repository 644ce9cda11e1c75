"""A second process that switches the supply off when the tool dies.

It holds no port: it waits on a pipe whose other end the tool holds, and is told `on` and `off`. When the pipe closes, however the
tool ended, and the last word was `on`, it opens the supply, whose port is free then, and switches it off. What it can't help: a
computer that stops, a cable that is out, a supply that doesn't obey.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path

from benchcheck.words.errors import BenchcheckError

TRIES, PAUSE_S = 8, 0.25  # the port may be let go of a moment later
_START = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from benchcheck.bench.instruments.guardian import main; main()"
_END_S = 10.0


class Guardian:
    """The tool's end of it. `on` and `off` say how the output stands; `end` when it is known to be off."""

    def __init__(self, resource: str, *, identity: str, baud: int) -> None:
        self._words = {"resource": resource, "identity": identity, "baud": baud}
        self._process: subprocess.Popen[bytes] | None = None
        self.why_not = ""  # nobody watches, and why

    @property
    def pid(self) -> int | None:
        return self._process.pid if self._process is not None else None

    def on(self) -> None:
        """The output comes on now; the first time, the process is started."""
        if self._process is None and not self.why_not:
            root = str(Path(__file__).parents[2])
            command = [sys.executable, "-c", _START, json.dumps([root, *sys.path]), json.dumps(self._words)]
            try:
                # in a session of its own: Ctrl-C at the terminal is not for it
                self._process = subprocess.Popen(
                    command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, start_new_session=True
                )
            except OSError as error:
                self.why_not = f"no second process can be started ({error.strerror or type(error).__name__})"
        self._say(b"on\n")

    def off(self) -> None:
        """The output is known to be off."""
        self._say(b"off\n")

    def end(self) -> None:
        """Let the process go. Where the last word was `on`, it switches the supply off, whose port must be closed by now."""
        process, self._process = self._process, None
        if process is None or process.stdin is None:
            return
        with contextlib.suppress(OSError):
            process.stdin.close()
        try:
            process.wait(_END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def _say(self, word: bytes) -> None:
        if self._process is None or self._process.stdin is None:
            return
        try:
            self._process.stdin.write(word)
            self._process.stdin.flush()
        except OSError:
            self.why_not = "the second process has ended"


def main() -> None:
    """The second process: wait, and switch off if need be. Its one argument is JSON: resource, identity, baud."""
    words = json.loads(sys.argv[2])
    last = b""
    while piece := os.read(0, 4096):
        last = (last + piece)[-64:]
    if not last.endswith(b"on\n"):
        return
    trouble = "it was not tried"
    for _ in range(TRIES):
        try:
            switch_off(str(words["resource"]), identity=str(words["identity"]), baud=int(words["baud"]))
            print("benchcheck: the tool died; the supply was switched off", file=sys.stderr, flush=True)
            return
        except BenchcheckError as error:
            trouble = str(error)
            time.sleep(PAUSE_S)
    print(
        f"benchcheck: the supply may still be ON ({trouble}). Switch it off by hand now.", file=sys.stderr, flush=True
    )


def switch_off(resource: str, *, identity: str, baud: int) -> None:
    """Open the supply, switch it off and see that it is off. SetupError or LinkLost where it isn't."""
    from benchcheck.bench.instruments.scpi import Instrument
    from benchcheck.bench.instruments.supply import Supply
    from benchcheck.words.meter import MeterSpec

    Supply(Instrument("supply", resource, expect=identity, baud=baud), MeterSpec()).close()
