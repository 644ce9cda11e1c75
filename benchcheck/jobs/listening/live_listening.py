"""Listens to adapters and lines without a job: counts, keeps a capture, and says at any time how things stand."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.bench.bench import Bench
from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.bench.link import LinkState
from benchcheck.harness.model import Harness
from benchcheck.jobs.listening.bus_ear import BusEar
from benchcheck.jobs.listening.capture_sink import CaptureSink
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.protocols import protocols_of
from benchcheck.traffic.presence.expectations import expectations
from benchcheck.traffic.presence.presence import judge_presence, watch_of
from benchcheck.traffic.presence.unit_presence import UnitExpectation, UnitPresence
from benchcheck.traffic.summary import load_percent
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.pieces import SECOND_NS, WindowBits
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.errors import BenchcheckError

BUS_SILENT_NS = SECOND_NS
PRESENT_RULE = "every message of the unit that has a period has come twice, and none of its verdicts is worse than PASS"


@dataclass(frozen=True, slots=True)
class ListenBus:
    """A bus to listen to, by the name that the bench has for it."""

    name: str
    bitrate: int | None
    data_bitrate: int | None = None


@dataclass(frozen=True, slots=True)
class ListenLine:
    """A line to listen to: the bench's port, the name it gets in the capture, and how it speaks."""

    tap: str
    name: str
    protocol: str
    baud: int
    framing: str


@dataclass(frozen=True, slots=True)
class BusStatus:
    """How a bus stands. `link` is in words: "listening", "bus silent", "reader silent", "link lost", or why it would not open.

    load_percent  over the last second; mean_percent since the start; None without a bit rate
    error_frames  None: not reported by this adapter
    controller    the controller's status in words; "not reported by this adapter"
    """

    name: str
    link: str
    load_percent: float | None
    mean_percent: float | None
    frames: int
    frames_per_s: int
    error_frames: int | None
    controller: str
    dropped: int
    garbled: int
    passive: str
    units: tuple[UnitPresence, ...]


@dataclass(frozen=True, slots=True)
class LineStatus:
    """How a line stands; `last_s` is how long ago the last byte came, None before the first."""

    name: str
    link: str
    bytes: int
    good: int
    bad: int
    other: int
    framing_errors: int | None
    last_s: float | None
    types: tuple[str, ...]


@dataclass(slots=True)
class _Bus:
    asked: ListenBus
    number: int
    expected: list[UnitExpectation]
    adapter: CanAdapter | None = None
    ear: BusEar | None = None
    trouble: str = ""
    # (stamp, frames, bits at the nominal rate, at the data rate) of late, for what the last second holds
    lately: deque[tuple[int, int, int, int]] = field(default_factory=deque)


@dataclass(slots=True)
class _Line:
    asked: ListenLine
    tally: LineTally
    listener: LineListener | None = None
    trouble: str = ""


class LiveListening:
    """`start`, then `pump` often; ask `buses` and `lines` whenever somebody looks."""

    def __init__(
        self,
        bench: Bench,
        buses: Sequence[ListenBus],
        lines: Sequence[ListenLine],
        harness: Harness | None = None,
        capture: CaptureSink | None = None,
        *,
        acknowledge: bool = False,
    ) -> None:
        self._bench = bench
        self._clock = bench.clock
        self._capture = capture
        self._acknowledge = acknowledge
        profile = {bus.name: bus for bus in harness.buses} if harness is not None else {}
        self._buses = [
            _Bus(
                asked,
                number,
                expectations(harness, profile[asked.name]) if harness is not None and asked.name in profile else [],
            )
            for number, asked in enumerate(buses)
        ]
        self._known = {
            name: [(message.can_id, message.extended) for message in bus.messages] for name, bus in profile.items()
        }
        known = protocols_of(harness)
        self._lines = [_Line(asked, LineTally(known[asked.protocol])) for asked in lines]
        self._tally = TrafficTally()
        self._dropped: Counter[str] = Counter()
        self.start_ns = 0

    def start(self) -> None:
        """Open what can be opened; what can't says so in its status, and the rest goes on."""
        for bus in self._buses:
            try:
                bus.adapter = self._bench.can(
                    bus.asked.name,
                    bus.asked.bitrate,
                    acknowledge=self._acknowledge,
                    fd=bus.asked.data_bitrate is not None,
                )
                bus.ear = BusEar(bus.asked.name, bus.number, bus.adapter, self._clock, self._capture, self._dropped)
            except BenchcheckError as trouble:
                bus.trouble = str(trouble)
        for line in self._lines:
            try:
                line.listener = self._bench.line(line.asked.tap, line.asked.baud, line.asked.framing)
                line.listener.drain()
            except BenchcheckError as trouble:
                line.trouble = str(trouble)
        self._tally = TrafficTally(watch={bus.number: watch_of(bus.expected) for bus in self._buses})
        self.start_ns = self._clock.stamp_ns()
        for line in self._lines:
            if self._capture is not None and line.listener is not None:
                self._capture.listening(line.asked.name)
        self._mark("listening", self.start_ns, {"acknowledge": self._acknowledge, "troubles": self.troubles})

    @property
    def troubles(self) -> dict[str, str]:
        """What would not open, by bus or line, in words."""
        found = {bus.asked.name: bus.trouble for bus in self._buses if bus.trouble}
        return found | {line.asked.name: line.trouble for line in self._lines if line.trouble}

    @property
    def listens(self) -> bool:
        """Whether anything at all could be opened."""
        return any(bus.adapter for bus in self._buses) or any(line.listener for line in self._lines)

    def pump(self) -> None:
        """Take what has come; call it often."""
        for bus in self._buses:
            if bus.adapter is not None and bus.ear is not None:
                bus.ear.pump(bus.adapter, self._tally)
        for line in self._lines:
            if line.listener is None:
                continue
            for chunk in line.listener.drain():
                line.tally.feed(chunk.data, chunk.time_ns, framing_errors=chunk.framing_errors)
                if self._capture is not None:
                    self._capture.line(line.asked.name, chunk.time_ns, chunk.data, framing_errors=chunk.framing_errors)
        if self._capture is not None:
            self._capture.keep_up(self._clock.stamp_ns())

    def stop(self) -> None:
        """Take what is left, and note what was not listened to up to the end."""
        self.pump()
        now_ns = self._clock.stamp_ns()
        for bus in self._buses:
            if bus.ear is not None:
                bus.ear.judged(now_ns)

    def buses(self) -> list[BusStatus]:
        now_ns = self._clock.stamp_ns()
        return [self._bus_status(bus, now_ns) for bus in self._buses]

    def lines(self) -> list[LineStatus]:
        now_ns = self._clock.stamp_ns()
        found = []
        for line in self._lines:
            tally, listener = line.tally, line.listener
            link = line.trouble or (str(listener.state) if listener is not None else "")
            found.append(
                LineStatus(
                    line.asked.name,
                    link,
                    tally.bytes,
                    tally.understood,
                    tally.bad_checksum,
                    tally.other,
                    tally.framing_errors,
                    None if tally.last_ns is None else (now_ns - tally.last_ns) / SECOND_NS,
                    tuple(sorted(tally.types)),
                )
            )
        return found

    def all_present(self) -> bool:
        """Whether every expected unit of every bus is there, by PRESENT_RULE; False where none is expected."""
        expected = [bus for bus in self._buses if bus.expected]
        return bool(expected) and all(self._is_present(bus) for bus in expected)

    def _is_present(self, bus: _Bus) -> bool:
        tally = self._tally.buses.get(bus.number)
        if tally is None:
            return False
        ids, matches = tally.ids, tally.matches
        for unit in bus.expected:
            for can_id, extended, period_s in unit.ids:
                source = ids.get(IdKey(can_id, extended))
                if period_s is not None and (source is None or source.count < 2):
                    return False
        if any(
            entry.gap_ns is not None and (source is None or source.count < 2)
            for entry, source in zip(tally.watch.matches, matches, strict=True)
        ):
            return False
        names = {unit.unit for unit in bus.expected}
        heard = [unit for unit in self._judged(bus, tally, self._clock.stamp_ns()) if unit.unit in names]
        return all(unit.verdict.value == "PASS" for unit in heard)

    def _judged(self, bus: _Bus, tally: BusTally | None, now_ns: int) -> list[UnitPresence]:
        return judge_presence(
            bus.expected,
            tally,
            start_ns=self.start_ns,
            end_ns=now_ns,
            dropped_frames=0,
            also_known=self._known.get(bus.asked.name, ()),
            recorder_gaps=bus.ear.gaps.so_far(now_ns) if bus.ear is not None else (),
        )

    def _bus_status(self, bus: _Bus, now_ns: int) -> BusStatus:
        tally = self._tally.buses.get(bus.number)
        frames, slow, fast = (0, 0, 0) if tally is None else (tally.frames, tally.nominal_bits, tally.data_rate_bits)
        lately = bus.lately
        lately.append((now_ns, frames, slow, fast))
        while len(lately) > 1 and lately[1][0] <= now_ns - SECOND_NS:
            lately.popleft()
        then_ns, before, slow_before, fast_before = lately[0]
        span_ns = now_ns - (then_ns if len(lately) > 1 else self.start_ns)
        if len(lately) == 1:
            before = slow_before = fast_before = 0
        asked, adapter = bus.asked, bus.adapter
        counts = adapter.counts if adapter is not None else None
        return BusStatus(
            asked.name,
            self._link_words(bus, now_ns),
            load_percent(
                WindowBits(slow - slow_before, fast - fast_before), span_ns, asked.bitrate, asked.data_bitrate
            ),
            load_percent(WindowBits(slow, fast), now_ns - self.start_ns, asked.bitrate, asked.data_bitrate),
            frames,
            round((frames - before) * SECOND_NS / max(span_ns, 1)),
            (tally.error_frames if tally is not None else 0) if adapter and adapter.error_frames_reported else None,
            adapter.controller if adapter is not None else "",
            counts.dropped if counts is not None else 0,
            counts.garbled if counts is not None else 0,
            adapter.passive.sentence if adapter is not None else "",
            tuple(self._judged(bus, tally, now_ns)),
        )

    def _link_words(self, bus: _Bus, now_ns: int) -> str:
        if bus.adapter is None:
            return bus.trouble
        state = bus.adapter.state
        if state is not LinkState.LISTENING:
            return str(state) + (f" ({bus.adapter.why})" if state is LinkState.LINK_LOST and bus.adapter.why else "")
        heard_ns = bus.ear.last_ns if bus.ear is not None else None
        since_ns = heard_ns if heard_ns is not None else self.start_ns
        return "bus silent" if now_ns - since_ns >= BUS_SILENT_NS else "listening"

    def _mark(self, kind: str, time_ns: int, body: Mapping[str, object]) -> None:
        if self._capture is not None:
            self._capture.mark(kind, time_ns, body)
