"""Listens to the buses and lines of a bench during the live stage, and says what was heard as readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Protocol

from benchcheck.bench.bench import Bench
from benchcheck.harness.model import Bus, Harness, Link, Talk
from benchcheck.jobs.operator import Operator
from benchcheck.traffic.bus_tally import BusTally
from benchcheck.traffic.expectations import expectations
from benchcheck.traffic.line_tally import LineTally
from benchcheck.traffic.presence import PresenceState, UnitPresence, judge_presence, watch_of
from benchcheck.traffic.summary import bus_json, line_json, load_by_second
from benchcheck.traffic.traffic_tally import TrafficTally
from benchcheck.words.errors import BenchcheckError
from benchcheck.words.frames import FrameBatch
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.verdict import Outcome

SECOND_NS = 1_000_000_000
PUMP_S = 0.02
# A bus is judged this long after power-on, or later where units boot slowly or talk seldom.
LEAST_LISTEN_S = 6.0
PERIODS_HEARD = 3.0
LINE_PERIODS = 2.5  # as for the units of a bus
LINE_LEAST_S = 1.0
LATE_BY_S = 4.0
GOOD_SENTENCES = 3


class CaptureSink(Protocol):
    """Where everything heard is also written."""

    def frames(self, bus: str, batch: FrameBatch) -> None: ...

    def listening(self, name: str) -> None:
        """A line is listened to from now on, whether or not anything comes."""

    def line(self, name: str, time_ns: int, data: bytes) -> None: ...

    def mark(self, kind: str, time_ns: int, body: Mapping[str, object]) -> None: ...

    def dropped(self, bus: str, frames: int) -> None: ...


class Hearing:
    """One listening session: from before power-on until the last bus is judged."""

    def __init__(
        self, harness: Harness, bench: Bench, capture: CaptureSink | None = None, *, acknowledge: bool = False
    ) -> None:
        self._harness = harness
        self._bench = bench
        self._clock = bench.clock
        self._capture = capture
        self._acknowledge = acknowledge
        self._expected = {bus.name: expectations(harness, bus) for bus in harness.buses}
        self._troubles: dict[str, str] = {}
        self._heard: dict[str, Reading] = {}
        self._tally = TrafficTally()
        self._start_ns = 0
        self._power_on_ns: int | None = None
        self.running = False

    def start(self) -> None:
        """Open every adapter and begin to count. A bus whose adapter won't open is left UNSURE, and the rest goes on."""
        self.stop()
        self._troubles, self._heard = {}, {}
        watch = {}
        for number, bus in enumerate(self._harness.buses):
            try:
                self._bench.can(bus.name, bus.bitrate, acknowledge=self._acknowledge).drain()
            except BenchcheckError as trouble:
                self._troubles[bus.name] = str(trouble)
            watch[number] = watch_of(self._expected[bus.name])
        self._tally = TrafficTally(watch=watch)
        self._start_ns = self._clock.stamp_ns()
        self._power_on_ns = None
        self.running = True

    def powered_on(self) -> None:
        """Boot times count from here."""
        self._power_on_ns = self._clock.stamp_ns()
        if self._capture is not None:
            self._capture.mark("power_on", self._power_on_ns, {})

    def stop(self) -> None:
        self.running = False

    def pump(self) -> None:
        """Take what the adapters have heard; call it often."""
        for number, bus in enumerate(self._harness.buses):
            if bus.name in self._troubles:
                continue
            batch = self._bench.can(bus.name, bus.bitrate, acknowledge=self._acknowledge).drain()
            if len(batch):
                batch.bus.fill(number)
                self._tally.update(batch)
                if self._capture is not None:
                    self._capture.frames(bus.name, batch)

    def bus(self, name: str) -> Reading:
        """What was heard on a bus, once it was listened to for long enough; the same for every check that asks."""
        if name not in self._heard:
            self._heard[name] = self._judge_bus(name)
        return self._heard[name]

    def line(self, operator: Operator, link_name: str, sender: str, contact: str, ground: str) -> Reading:
        """Listen to one talker of a link until it has said what it should, or its time is over."""
        link = next(entry for entry in self._harness.links if entry.name == link_name)
        talk = next(entry for entry in link.talks if entry.sender == sender)
        name = next(iter(self._bench.taps), None)
        if name is None:
            return Reading(ReadingState.NONE, "bytes", detail={"why": "this bench has no serial port to listen with"})
        listener = self._bench.line(name, link.baud, link.framing)
        operator.tap(name, contact, ground, link.baud)
        listener.drain()  # what came before the wire was tapped says nothing of this talker
        tally = LineTally(link.protocol)
        if self._capture is not None:
            self._capture.listening(f"{link.name}:{sender}")
        started_ns = self._clock.stamp_ns()
        while not _satisfied(tally, talk.types) and self._clock.stamp_ns() < self._until_ns(started_ns, talk):
            self._clock.sleep(PUMP_S)
            self.pump()
            for time_ns, data in listener.drain():
                if tally.bytes == 0:
                    started_ns = time_ns  # its time counts from its first byte: what came before was silence
                tally.feed(data, time_ns)
                if self._capture is not None:
                    self._capture.line(f"{link.name}:{sender}", time_ns, data)
        return self._line_reading(link, tally, listener.identity, str(listener.state))

    def _until_ns(self, started_ns: int, talk: Talk) -> int:
        """How long a talker is listened to: its time counts from when it should be up, not while it still boots.

        A unit on a bus is known by that to be late; one that speaks on lines only is given time to be.
        """
        boot_s = self._harness.units[talk.sender].type.boot_s
        if not any(message.sender == talk.sender for bus in self._harness.buses for message in bus.messages):
            boot_s += LATE_BY_S
        up_ns = (self._power_on_ns or 0) + int(boot_s * SECOND_NS)
        return max(started_ns, up_ns) + int(max(LINE_LEAST_S, LINE_PERIODS * talk.period_s) * SECOND_NS)

    def _line_reading(self, link: Link, tally: LineTally, identity: str, state: str) -> Reading:
        detail = {**line_json(link.name, tally), "baud": link.baud, "framing": link.framing}
        if state == "link lost":
            return Reading(
                ReadingState.NONE, "bytes", instrument=identity, detail={**detail, "why": "the serial port was lost"}
            )
        return Reading(ReadingState.VALUE, "bytes", float(tally.bytes), instrument=identity, detail=detail)

    def _judge_bus(self, name: str) -> Reading:
        number, bus = next((i, b) for i, b in enumerate(self._harness.buses) if b.name == name)
        if name in self._troubles:
            return Reading(ReadingState.NONE, "frames", detail={"why": self._troubles[name]})
        adapter = self._bench.can(name, bus.bitrate, acknowledge=self._acknowledge)
        begin_ns = self._power_on_ns if self._power_on_ns is not None else self._start_ns
        until_ns = begin_ns + int(listen_s(self._harness, bus) * SECOND_NS)
        while self._clock.stamp_ns() < until_ns:
            self._clock.sleep(PUMP_S)
            self.pump()
        self.pump()
        counts, end_ns = adapter.counts, self._clock.stamp_ns()
        if self._capture is not None and counts.dropped:
            self._capture.dropped(name, counts.dropped)
        tally = self._tally.buses.get(number)
        units = judge_presence(
            self._expected[name],
            tally,
            start_ns=self._start_ns,
            end_ns=end_ns,
            power_on_ns=self._power_on_ns,
            dropped_frames=counts.dropped,
            also_known=[(message.can_id, message.extended) for message in bus.messages],
        )
        if not self._acknowledge:
            units = _late_for_want_of_others(units)
        detail: dict[str, object] = {
            "frames": tally.frames if tally else 0,
            "dropped_frames": counts.dropped,
            "garbled_records": counts.garbled,
            "error_frames": (tally.error_frames if tally else 0) if adapter.error_frames_reported else None,
            "passive": adapter.passive.sentence,
            "listened_s": round((end_ns - self._start_ns) / SECOND_NS, 3),
            "units": {
                u.unit: _presence_json(u, begin_ns, tally) for u in units if u.state is not PresenceState.UNEXPECTED
            },
            "strangers": _strangers(bus, tally),
            "bitrate": bus.bitrate,
            "bitrate_source": "as configured",
        }
        if tally is not None:
            summary = bus_json(self._tally, number, name, bus.bitrate, None)
            detail |= {key: summary[key] for key in ("load_mean_percent", "load_peak_percent", "wire_bits", "gaps")}
            detail["load_by_second_percent"] = load_by_second(self._tally, number, bus.bitrate)
        if str(adapter.state) in ("link lost", "reader silent"):
            return Reading(
                ReadingState.NONE, "frames", instrument=adapter.identity, detail={**detail, "why": str(adapter.state)}
            )
        return Reading(
            ReadingState.VALUE,
            "frames",
            float(tally.frames if tally else 0),
            instrument=adapter.identity,
            detail=detail,
        )


def listen_s(harness: Harness, bus: Bus) -> float:
    """How long a bus is listened to after power-on: every unit booted, and every message due a few times over."""
    boot_s = max((harness.units[unit].type.boot_s for unit in bus.nodes), default=0.0)
    period_s = max((message.period_s or 0.0 for message in bus.messages), default=0.0)
    return max(LEAST_LISTEN_S, boot_s + PERIODS_HEARD * period_s)


def _satisfied(tally: LineTally, types: tuple[str, ...]) -> bool:
    return tally.understood >= GOOD_SENTENCES and all(name in tally.types and tally.types[name].sound for name in types)


def _strangers(bus: Bus, tally: BusTally | None) -> list[str]:
    """Identifiers that were heard and that no message of the profile has, whether or not its sender is known."""
    known = {(message.can_id, message.extended) for message in bus.messages}
    heard = sorted(tally.ids, key=lambda key: (key.extended, key.can_id)) if tally is not None else []
    return [key.text for key in heard if (key.can_id, key.extended) not in known]


def _late_for_want_of_others(units: list[UnitPresence]) -> list[UnitPresence]:
    """A lone unit that nobody acknowledges is not heard, so the first two on a silent bench can't be called late."""
    firsts = sorted(unit.first_ns for unit in units if unit.first_ns is not None)
    alone_until_ns = firsts[1] if len(firsts) > 1 else firsts[0] if firsts else 0
    why = "; until a second unit was up nobody acknowledged it, so it can't be told when it began"
    return [
        replace(unit, verdict=Outcome.UNSURE, text=unit.text + why)
        if unit.state is PresenceState.LATE and unit.first_ns is not None and unit.first_ns <= alone_until_ns
        else unit
        for unit in units
    ]


def _presence_json(unit: UnitPresence, begin_ns: int, tally: BusTally | None) -> dict[str, object]:
    def since(stamp_ns: int | None) -> float | None:
        return None if stamp_ns is None else round((stamp_ns - begin_ns) / SECOND_NS, 6)

    source = tally.groups.get(unit.unit) if tally is not None else None
    period = source.mean_period_ns() if source is not None else None
    return {
        "verdict": unit.verdict.value,
        "state": unit.state.value,
        "text": unit.text,
        "first_s": since(unit.first_ns),
        "last_s": since(unit.last_ns),
        "max_gap_s": unit.max_gap_s,
        "mean_period_s": round(period[0] / period[1] / SECOND_NS, 6) if period is not None else None,
    }
