"""Signals in `benchcheck survey`: those asked for by name, and those that the profile has limits for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from benchcheck.cli.survey_text import escaped
from benchcheck.words.errors import UsageError

if TYPE_CHECKING:
    from benchcheck.harness.model import Bus, Harness, SignalRange
    from benchcheck.traffic.changes.signal_changes import SignalSeen
    from benchcheck.traffic.signals.signal_ranges import SignalVerdict
    from benchcheck.traffic.tallies.bus_tally import BusTally
    from benchcheck.traffic.tallies.watch import IdKey, SignalWatch

Json = dict[str, object]


class SurveyedSignals:
    """What is to be tallied of each bus of the profile, and what came of it."""

    def __init__(self, harness: Harness | None, names: Sequence[str]) -> None:

        if names and harness is None:
            raise UsageError(
                "--signal needs a message database to know the signal by",
                hint="Give --profile: its buses name their database with `network`.",
            )
        self._harness = harness
        self._asked: list[SignalRange] = []
        for name in dict.fromkeys(names):
            self._asked += _named(harness, name) if harness is not None else []
        # a signal with limits is judged, asked for or not
        limited = [] if harness is None else list(harness.signals)
        seen = {(entry.bus, entry.name) for entry in limited}
        self._all: list[SignalRange] = limited + [e for e in self._asked if (e.bus, e.name) not in seen]
        self.verdicts: list[SignalVerdict] = []
        self.document: list[Json] = []

    def want_all(self) -> None:
        """Every signal of every message that the profile knows: for a comparison, which can't know what will differ."""
        seen = {(entry.bus, entry.name) for entry in self._all}
        self._all += [] if self._harness is None else [e for e in _every(self._harness) if (e.bus, e.name) not in seen]

    def seen(self, bus: Bus, tally: BusTally | None) -> dict[IdKey, tuple[SignalSeen, ...]]:
        """Identifier -> what was seen of its signals that were asked for, on a bus of the profile."""
        from benchcheck.traffic.changes.signal_changes import signal_seen
        from benchcheck.traffic.signals.signal_ranges import signal_tally
        from benchcheck.traffic.tallies.watch import IdKey

        found: dict[IdKey, tuple[SignalSeen, ...]] = {}
        for entry in self._all if tally is not None else ():
            if entry.bus == bus.name and (one := signal_seen(entry.name, signal_tally(entry, tally))) is not None:
                key = IdKey(entry.message.can_id, entry.message.extended)
                found[key] = (*found.get(key, ()), one)
        return found

    def wanted(self, bus: Bus) -> tuple[SignalWatch, ...]:
        """What the tally of a bus must keep."""
        from benchcheck.traffic.signals.signal_ranges import signal_watch

        return tuple(signal_watch(entry.message, entry.signal) for entry in self._all if entry.bus == bus.name)

    def judge(self, tallies: Mapping[str, BusTally | None], origin_ns: int, dropped: int) -> None:
        """Judge those with limits, and tell what all of them did. `tallies` by the profile's name of the bus."""
        from benchcheck.traffic.signals.signal_ranges import judge_signal, signal_json, signal_tally, tally_json

        for entry in self._all:
            tally = signal_tally(entry, tallies.get(entry.bus))
            head: Json = {"bus": entry.bus, "signal": entry.name}
            if entry.limits_text:
                verdict = judge_signal(entry, tally, origin_ns=origin_ns, dropped=dropped)
                self.verdicts.append(verdict)
                self.document.append({**head, "limits": entry.limits_text, **signal_json(verdict, tally)})
            else:
                self.document.append({**head, "limits": None, "verdict": None, **tally_json(tally)})


def _named(harness: Harness, name: str) -> list[SignalRange]:
    """The signals of this name, alone or behind that of its message; a refusal where there is none."""
    from benchcheck.harness.reading.hints import did_you_mean

    every = _every(harness)
    found = [entry for entry in every if name in (entry.name, entry.signal.name)]
    if not found:
        known = [entry.name if "." in name else entry.signal.name for entry in every]
        raise UsageError(
            f"no message database of {escaped(harness.name)} has a signal {escaped(name)}",
            where="--signal",
            hint=did_you_mean(name, list(dict.fromkeys(known)), what="Signals", most=12),
        )
    return found


def _every(harness: Harness) -> list[SignalRange]:
    """Every signal that the profile's databases know, without limits."""
    from benchcheck.harness.model import SignalRange

    return [
        SignalRange(bus.name, message, signal)
        for bus in harness.buses
        for message in bus.messages
        for signal in message.signals
    ]
