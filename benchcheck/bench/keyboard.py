"""The keyboard of a terminal, key by key: without echo and without waiting for Enter, until it is closed."""

from __future__ import annotations

import os
import re
import sys
from types import TracebackType

_SEQUENCE = re.compile("\x1b(?:\\[[0-?]*[ -/]*[@-~]?|O.?|[^\\[O])?")  # ECMA-48: arrows, function keys and the like


def is_at_hand(descriptor: int) -> bool:
    """Whether that is a terminal whose keys come to this process: another job may be in its foreground."""
    if sys.platform == "win32":
        return False
    try:
        return os.isatty(descriptor) and os.tcgetpgrp(descriptor) == os.getpgrp()
    except OSError:
        return False


class Keyboard:
    """Keys of a terminal that is at hand. Ctrl-C still interrupts. `close` puts the terminal back as it was."""

    def __init__(self, descriptor: int) -> None:
        import termios
        import tty

        self._descriptor = descriptor
        self._before = termios.tcgetattr(descriptor)
        tty.setcbreak(descriptor)

    def fileno(self) -> int:
        return self._descriptor

    def read(self) -> str | None:
        """The keys that were pressed, those that are no characters left out; None where the terminal is gone."""
        try:
            data = os.read(self._descriptor, 4096)
        except OSError:
            return None
        return _SEQUENCE.sub("", data.decode("utf-8", "replace")) if data else None

    def close(self) -> None:
        import contextlib
        import termios

        with contextlib.suppress(termios.error, OSError):  # the terminal may be gone
            termios.tcsetattr(self._descriptor, termios.TCSADRAIN, self._before)

    def __enter__(self) -> Keyboard:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
