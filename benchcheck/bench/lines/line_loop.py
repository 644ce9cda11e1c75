"""A serial port that may send: for a loop-back test only, and opened there only (`Bench.loop_line`).

Whatever merely listens is a `LineListener`, which has nothing to send with.
"""

from __future__ import annotations

from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.bench.port import PORT_ERRORS, printable
from benchcheck.words.errors import LinkLost


class LoopLine(LineListener):
    """Hears what comes back of what it sends."""

    def send(self, data: bytes) -> None:
        """Send all of it. LinkLost when the port is gone or takes nothing."""
        with self._using:
            if self._handle is None:
                raise LinkLost(f"the port was lost ({self.why})", where=f"port {printable(self.port)}")
            try:
                self._handle.write(data)
                self._handle.flush()
            except PORT_ERRORS as error:
                why = printable(" ".join(str(error).split()))[:120]
                raise LinkLost(f"nothing can be sent ({why})", where=f"port {printable(self.port)}") from None
