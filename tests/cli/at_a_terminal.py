"""The program at a terminal of its own, for a person who types: started, read from, typed into, ended."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import subprocess
import sys
import termios
import time
from types import TracebackType

WITHIN_S = 30.0


def _take_terminal() -> None:
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class AtATerminal:
    """`benchcheck WORDS` with stdin and stderr at a pseudo-terminal that is its own; stdout is there too, or a pipe."""

    def __init__(self, *words: object, stdout_is_pipe: bool = False, term: str = "xterm") -> None:
        self.master, self._slave = pty.openpty()
        self.before = termios.tcgetattr(self._slave)
        self.seen = ""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "benchcheck", *map(str, words)],
            stdin=self._slave,
            stdout=subprocess.PIPE if stdout_is_pipe else self._slave,
            stderr=self._slave,
            start_new_session=True,
            preexec_fn=_take_terminal,
            env={**os.environ, "TERM": term},
        )

    def type(self, text: str) -> None:
        os.write(self.master, text.encode())

    def until(self, text: str) -> str:
        """Read what it shows until `text` comes, and give all up to and with that; the rest is kept for the next time."""
        deadline = time.monotonic() + WITHIN_S
        while text not in self.seen:
            left = deadline - time.monotonic()
            assert left > 0, f"waited in vain for {text!r}; it showed {self.seen!r}"
            assert self._read(left), f"it ended before {text!r}; it showed {self.seen!r}"
        shown, _, self.seen = self.seen.partition(text)
        return shown + text

    def end(self) -> tuple[int, str]:
        """The exit code, and what it showed since; the terminal must be as it was."""
        deadline = time.monotonic() + WITHIN_S
        while self.process.poll() is None:
            assert time.monotonic() < deadline, f"it does not end; it showed {self.seen!r}"
            self._read(0.02)
        while self._read(0.0):
            pass
        assert termios.tcgetattr(self._slave) == self.before
        return self.process.returncode, self.seen

    def _read(self, timeout_s: float) -> bool:
        if not select.select([self.master], [], [], timeout_s)[0]:
            return False
        try:
            data = os.read(self.master, 65536)
        except OSError:
            return False
        self.seen += data.decode().replace("\r\n", "\n")
        return bool(data)

    def __enter__(self) -> AtATerminal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()
        os.close(self.master)
        os.close(self._slave)
