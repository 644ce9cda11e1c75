"""How a replay stands, in words, and how often that is shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchcheck.jobs.playing.player import Status

SHOWN_EVERY_NS = 200_000_000


def status_text(status: Status, typed: str = "") -> str:
    """As `second 12.3 of 60.0, at speed 2, late by at most 0.6 ms`."""
    known = "" if status.end_known else "at least "
    place = f"second {status.at_ns / 1e9:.1f} of {known}{status.end_ns / 1e9:.1f}"
    if status.paused:
        exact = f"{status.at_ns / 1e9:.6f}".rstrip("0").rstrip(".")
        words = f"paused at second {exact} of {known}{status.end_ns / 1e9:.1f}{', its end' if status.at_end else ''}"
    else:
        late = "" if status.late_ns is None else f", late by at most {max(status.late_ns, 0) / 1e6:.1f} ms"
        words = f"{place}, at speed {status.speed:g}{late}"
    return f"{words}   {typed}" if typed else words


class Ticker:
    """What is to be shown when, on a terminal: no more often than five times a second. Time is a value.

    redraws  one line that is drawn anew; otherwise lines of their own, only when what it was told has changed something
    """

    def __init__(self, *, redraws: bool) -> None:
        self._redraws = redraws
        self._waiting: str | None = None
        self._shown = ""
        self._shown_ns = -SHOWN_EVERY_NS
        self._key: tuple[object, ...] | None = None

    def see(self, status: Status, typed: str = "") -> None:
        """Take in how it stands now."""
        key = (status.paused, status.at_end, status.speed, status.turn, status.told)
        if self._redraws or (key != self._key and self._key is not None):
            self._waiting = status_text(status, typed)
        self._key = key

    def wait_s(self, now_ns: int) -> float | None:
        """After how long `take` has something; None: not before `see` was called."""
        if self._waiting is None:
            return None
        return max(self._shown_ns + SHOWN_EVERY_NS - now_ns, 0) / 1e9

    def take(self, now_ns: int, columns: int) -> str:
        """What is to be written now, if anything."""
        if self._waiting is None or now_ns < self._shown_ns + SHOWN_EVERY_NS:
            return ""
        text, self._waiting, self._shown_ns = self._waiting, None, now_ns
        if not self._redraws:
            return text + "\n"
        text = text[: max(columns - 1, 0)]
        drawn = "\r" + text.ljust(len(self._shown))
        self._shown = text
        return drawn

    def clear(self) -> str:
        """What takes the drawn line away, so that something else can be written there."""
        shown, self._shown = self._shown, ""
        return "\r" + " " * len(shown) + "\r" if shown else ""
