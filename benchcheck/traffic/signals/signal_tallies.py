"""The signals of one bus that a watch names: their tallies, fed with the traffic of that bus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchcheck.traffic.signals.signal_tally import SignalTally
from benchcheck.traffic.signals.signals import decode
from benchcheck.traffic.tallies.watch import IdKey, SignalWatch, Watch
from benchcheck.words.frames import FrameBatch
from benchcheck.words.signal import Signal


def with_signals(watch: Watch, signals: Sequence[SignalWatch]) -> Watch:
    """The same watch that tallies these signals too, each once."""
    own = {(entry.key, entry.signal.name): entry for entry in (*watch.signals, *signals)}
    return replace(watch, signals=tuple(own.values()))


class SignalTallies:
    """Tallies by identifier and name of the signal. Nothing else is decoded."""

    def __init__(self, wanted: Sequence[SignalWatch]) -> None:
        self._of: dict[IdKey, dict[str, SignalTally]] = {}
        for entry in wanted:
            self._of.setdefault(entry.key, {})[entry.signal.name] = SignalTally(entry.signal, entry.gap_ns)

    def update(self, batch: FrameBatch) -> None:
        """Take in the next frames of this bus, in recorder order."""
        for key, tallies in self._of.items():
            columns = decode(batch, key, tuple(tally.signal for tally in tallies.values()))
            for tally, column in zip(tallies.values(), columns, strict=True):
                tally.update(batch.time_ns, column)

    def merge(self, later: SignalTallies) -> None:
        """Take in what was counted of the part that follows this one; the same signals were asked for."""
        for key, tallies in self._of.items():
            for name, tally in tallies.items():
                tally.merge(later._of[key][name])

    def of(self, key: IdKey, signal: Signal) -> SignalTally:
        """The tally of a signal that was asked for."""
        return self._of[key][signal.name]
