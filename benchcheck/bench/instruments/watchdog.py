"""The watchdog of an instrument that has one: fed for as long as this program lives, so that the output goes off without it."""

from __future__ import annotations

import contextlib
import threading

from benchcheck.bench.instruments.scpi import Instrument, NoAnswerError
from benchcheck.words.errors import LinkLost, SetupError


class Watchdog:
    """Commands of the instrument's own, from bench.toml.

    arm, feed, disarm  what starts it, what keeps it from acting, and what ends it
    every_s            how often it is fed; at most a third of the time after which it acts
    """

    def __init__(self, instrument: Instrument, *, arm: str, feed: str, disarm: str, every_s: float) -> None:
        self._instrument = instrument
        self._arm, self._feed, self._disarm = arm, feed, disarm
        self._every_s = every_s
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Arm it, and feed it from here on. SetupError where the instrument refuses."""
        if self._thread is not None:
            return
        try:
            self._instrument.write(self._arm)
            refused = [f"{entry.code} {entry.text}" for entry in self._instrument.errors()[:3]]
        except NoAnswerError as silent:
            refused = [str(silent)]
        if refused:
            raise SetupError(
                f"its watchdog does not start, {'; '.join(refused)}",
                where=self._instrument.where,
                hint="Correct [supply.watchdog] in bench.toml, or leave it out.",
            )
        self._stopping.clear()
        self._thread = threading.Thread(target=self._run, name="watchdog", daemon=True)
        self._thread.start()

    def stop(self, *, quietly: bool = False) -> None:
        """Stop feeding it and disarm it; `quietly` where the instrument may be gone."""
        thread, self._thread = self._thread, None
        if thread is None:
            return
        self._stopping.set()
        thread.join()
        with contextlib.suppress(*((LinkLost, NoAnswerError) if quietly else ())):
            self._instrument.write(self._disarm)

    def _run(self) -> None:
        while not self._stopping.wait(self._every_s):
            try:
                self._instrument.write(self._feed)
            except (LinkLost, NoAnswerError):
                return  # it acts now; whoever asks the supply next hears why
