"""Listens to the buses and lines of a bench during the live stage, and says what was heard as readings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from benchcheck.bench.bench import Bench
from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.harness.model import Bus, Harness, Talk
from benchcheck.jobs.listening.bus_ear import BusEar
from benchcheck.jobs.listening.capture_sink import CaptureSink
from benchcheck.jobs.listening.heard import SECOND_NS, AdapterSaid, Listened, bus_reading, line_reading
from benchcheck.jobs.listening.line_hearing import FIRST_BAUD, PUMP_S, LineHearing
from benchcheck.jobs.operator import Operator
from benchcheck.traffic.presence.expectations import expectations, longest_period_s
from benchcheck.traffic.presence.presence import watch_of
from benchcheck.traffic.signals.signal_ranges import wanted_signals
from benchcheck.traffic.signals.signal_tallies import with_signals
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.words.errors import BenchcheckError
from benchcheck.words.reading import Reading, ReadingState

# A bus is judged this long after power-on, or later where units boot slowly or talk seldom.
LEAST_LISTEN_S = 6.0
PERIODS_HEARD = 3.0
LATE_BY_S = 4.0


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
        self._ears: dict[str, BusEar] = {}
        self._dropped: Counter[str] = Counter()
        self._start_ns = 0
        self._power_on_ns: int | None = None
        self.running = False

    def start(self) -> None:
        """Open every adapter and begin to count. A bus whose adapter won't open is left UNSURE, and the rest goes on."""
        self.stop()
        self._troubles, self._heard, self._ears = {}, {}, {}
        watch = {}
        for number, bus in enumerate(self._harness.buses):
            try:
                adapter = self._adapter(bus)
                self._ears[bus.name] = BusEar(bus.name, number, adapter, self._clock, self._capture, self._dropped)
            except BenchcheckError as trouble:
                self._troubles[bus.name] = str(trouble)
            watch[number] = with_signals(watch_of(self._expected[bus.name]), wanted_signals(self._harness, bus))
        self._tally = TrafficTally(watch=watch)
        self._start_ns = self._clock.stamp_ns()
        self._power_on_ns = None
        self._mark("listening", self._start_ns, {"acknowledge": self._acknowledge, "troubles": dict(self._troubles)})
        self.running = True

    def powered_on(self) -> None:
        """Boot times count from here."""
        self._power_on_ns = self._clock.stamp_ns()
        self._mark("power_on", self._power_on_ns, {})

    def stop(self) -> None:
        if self.running:
            for ear in self._ears.values():
                ear.judged(self._clock.stamp_ns())
        self.running = False

    def pump(self) -> None:
        """Take what the adapters have heard; call it often."""
        for bus in self._harness.buses:
            ear = self._ears.get(bus.name)
            if ear is not None:
                ear.pump(self._adapter(bus), self._tally)
        if self._capture is not None:
            self._capture.keep_up(self._clock.stamp_ns())

    def _adapter(self, bus: Bus) -> CanAdapter:
        fd = bus.data_bitrate is not None
        return self._bench.can(bus.name, bus.bitrate, acknowledge=self._acknowledge, fd=fd)

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
            why = "this bench has no serial port to listen with"
            self._mark("line_judged", self._clock.stamp_ns(), {"link": link_name, "sender": sender, "why": why})
            return Reading(ReadingState.NONE, "bytes", detail={"why": why})
        baud = link.baud or FIRST_BAUD
        listener = self._bench.line(name, baud, link.framing)
        operator.tap(name, contact, ground, baud)
        listener.drain()  # what came before the wire was tapped says nothing of this talker
        called = f"{link.name}:{sender}"
        if self._capture is not None:
            self._capture.listening(called)

        def keep(time_ns: int, data: bytes, framing_errors: int | None) -> None:
            if self._capture is not None:
                self._capture.line(called, time_ns, data, framing_errors=framing_errors)

        def on_speed(speed: int) -> None:
            if operator.simulated:  # over TCP the simulated bench can't see what the port is set to
                operator.tap(name, contact, ground, speed)

        hearing = LineHearing(
            listener, self._clock, link, talk, pump=self.pump, keep=keep, mark=self._mark, on_speed=on_speed
        )
        heard = hearing.hear(self._up_ns(talk))
        identity, state = listener.identity, str(listener.state)
        said: dict[str, object] = {"link": link.name, "sender": sender, "identity": identity, "state": state}
        if heard.speed is not None:
            said["speed"] = heard.speed.to_json()
        self._mark("line_judged", self._clock.stamp_ns(), said)
        return line_reading(link, talk, heard.tally, identity, state, heard.speed)

    def _up_ns(self, talk: Talk) -> int:
        """When a talker should be up: its time counts from then, not while it still boots.

        A unit on a bus is known by that to be late; one that speaks on lines only is given time to be.
        """
        boot_s = self._harness.units[talk.sender].type.boot_s
        if not any(talk.sender in bus.talkers for bus in self._harness.buses):
            boot_s += LATE_BY_S
        return (self._power_on_ns or 0) + int(boot_s * SECOND_NS)

    def _judge_bus(self, name: str) -> Reading:
        number, bus = next((i, b) for i, b in enumerate(self._harness.buses) if b.name == name)
        if name in self._troubles:
            return Reading(ReadingState.NONE, "frames", detail={"why": self._troubles[name]})
        adapter = self._adapter(bus)
        begin_ns = self._power_on_ns if self._power_on_ns is not None else self._start_ns
        until_ns = begin_ns + int(listen_s(self._harness, bus) * SECOND_NS)
        while self._clock.stamp_ns() < until_ns:
            self._clock.sleep(PUMP_S)
            self.pump()
        self.pump()
        counts, end_ns = adapter.counts, self._clock.stamp_ns()
        ear = self._ears[name]
        ear.judged(end_ns)
        said = AdapterSaid(
            adapter.identity,
            str(adapter.state),
            adapter.passive.sentence,
            adapter.error_frames_reported,
            ear.gaps.dropped,
            counts.garbled,
            str(adapter.passive.state),
            adapter.controller,
            adapter.controller_errors,
        )
        self._mark("bus_judged", end_ns, {"bus": name, **said.to_json()})
        listened = Listened(self._start_ns, end_ns, self._power_on_ns, self._acknowledge)
        return bus_reading(self._harness, number, self._tally, self._expected[name], said, listened, ear.gaps.gaps)

    def _mark(self, kind: str, time_ns: int, body: Mapping[str, object]) -> None:
        """Noted in the capture, so that a replay judges what was heard at the same moment: see jobs/playing/replay.py."""
        if self._capture is not None:
            self._capture.mark(kind, time_ns, body)


def listen_s(harness: Harness, bus: Bus) -> float:
    """How long a bus is listened to after power-on: every unit booted, and every message due a few times over, and a
    signal that stands still known to be stuck."""
    boot_s = max((harness.units[unit].type.boot_s for unit in bus.nodes), default=0.0)
    period_s = longest_period_s(bus)
    still_s = max((signal.stuck_s or 0.0 for signal in harness.signals if signal.bus == bus.name), default=0.0)
    return max(LEAST_LISTEN_S, boot_s + PERIODS_HEARD * period_s, boot_s + period_s + still_s)
