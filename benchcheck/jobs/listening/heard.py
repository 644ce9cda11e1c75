"""What was heard, as readings: the same from a live bench and from the capture that it left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace

from benchcheck.harness.model import Bus, Harness, Link, Talk
from benchcheck.traffic.lines.line_speed import SpeedSaid
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.talk_rates import rates_of
from benchcheck.traffic.presence.expectations import known_on_bus
from benchcheck.traffic.presence.presence import PresenceState, UnitExpectation, UnitPresence, judge_presence
from benchcheck.traffic.signals.signal_ranges import judge_signal, signal_json, signal_tally
from benchcheck.traffic.summary import MOST_PAUSES, MOST_SECONDS, bus_json, line_json, load_by_second
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.source_tally import SourceTally
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.recorder_gap import RecorderGap, dropped_elsewhere
from benchcheck.words.verdict import Outcome

SECOND_NS = 1_000_000_000
UNPROVED = "unproved"  # as bench.can_interface.PassiveState says it


@dataclass(frozen=True, slots=True)
class AdapterSaid:
    """What a CAN adapter says of itself and of its listening, at the moment its bus is judged."""

    identity: str
    state: str
    passive: str
    error_frames_reported: bool
    dropped: int = 0
    garbled: int = 0
    silence: str = ""  # how silent it is, as can_interface.PassiveState; empty where that is not known
    controller: str = ""  # its controller's status in words
    errors_told: bool | None = None  # whether that status tells of errors; None: it has none

    def to_json(self) -> dict[str, object]:
        return asdict(self)

    @classmethod
    def from_json(cls, body: Mapping[str, object]) -> AdapterSaid | None:
        """What `to_json` wrote; None where it did not."""
        identity, state, passive = (body.get(key) for key in ("identity", "state", "passive"))
        reported, dropped, garbled = (body.get(key) for key in ("error_frames_reported", "dropped", "garbled"))
        if not (isinstance(identity, str) and isinstance(state, str) and isinstance(passive, str)):
            return None
        if not (isinstance(reported, bool) and isinstance(dropped, int) and isinstance(garbled, int)):
            return None
        silence, controller = body.get("silence", ""), body.get("controller", "")  # an earlier version didn't say
        told = body.get("errors_told")
        return cls(
            identity,
            state,
            passive,
            reported,
            dropped,
            garbled,
            silence if isinstance(silence, str) else "",
            controller if isinstance(controller, str) else "",
            told if isinstance(told, bool) else None,
        )


@dataclass(frozen=True, slots=True)
class Listened:
    """When a bus was listened to, in stamps of the recorder; `acknowledge` whether this bench took part in it."""

    start_ns: int
    end_ns: int
    power_on_ns: int | None
    acknowledge: bool


def bus_reading(
    harness: Harness,
    number: int,
    tally: TrafficTally,
    expected: Sequence[UnitExpectation],
    said: AdapterSaid,
    listened: Listened,
    gaps: Sequence[RecorderGap] = (),
) -> Reading:
    """What was heard on the profile's bus of this number, which is also its number in the tally.

    gaps  when not everything was recorded of this bus; the frames that they name are among those of `said`
    """
    bus = harness.buses[number]
    found = tally.buses.get(number)
    begin_ns = listened.power_on_ns if listened.power_on_ns is not None else listened.start_ns
    units = judge_presence(
        expected,
        found,
        start_ns=listened.start_ns,
        end_ns=listened.end_ns,
        power_on_ns=listened.power_on_ns,
        dropped_frames=dropped_elsewhere(said.dropped, gaps),
        recorder_gaps=gaps,
        also_known=known_on_bus(bus).ids,
    )
    if not listened.acknowledge:
        units = _unacknowledged(_late_for_want_of_others(units), said.silence)
    detail: dict[str, object] = {
        "frames": found.frames if found else 0,
        "dropped_frames": said.dropped,
        "recorder_gaps": [_gap_json(gap, begin_ns) for gap in gaps],
        "garbled_records": said.garbled,
        "error_frames": (found.error_frames if found else 0) if said.error_frames_reported else None,
        "controller": said.controller,
        "controller_errors": said.errors_told,
        "passive": said.passive,
        "listened_s": round((listened.end_ns - listened.start_ns) / SECOND_NS, 3),
        "units": {u.unit: _presence_json(u, begin_ns, found) for u in units if u.state is not PresenceState.UNEXPECTED},
        "strangers": _strangers(bus, found),
        "unexpected": _unexpected_json(units, begin_ns, found),
        **_signals(harness, bus, found, begin_ns, said.dropped),
        "bitrate": bus.bitrate,
        "data_bitrate": bus.data_bitrate,
        "bitrate_source": "as configured",
    }
    if found is not None:
        summary = bus_json(tally, number, bus.name, bus.bitrate, bus.data_bitrate)
        kept = ("load_mean_percent", "load_peak_percent", "wire_bits", "wire_bits_at_data_bitrate", "gaps")
        detail |= {key: summary[key] for key in kept}
        detail["load_by_second_percent"] = load_by_second(
            tally, number, bus.bitrate, bus.data_bitrate, most=MOST_SECONDS
        )
    if said.state in ("link lost", "reader silent"):
        return Reading(ReadingState.NONE, "frames", instrument=said.identity, detail={**detail, "why": said.state})
    frames = float(found.frames if found else 0)
    return Reading(ReadingState.VALUE, "frames", frames, instrument=said.identity, detail=detail)


def line_reading(
    link: Link, talk: Talk, tally: LineTally, identity: str, state: str, speed: SpeedSaid | None = None
) -> Reading:
    """What was heard of one talker of a link; `speed`: what was found where another speed was looked for."""
    detail = {
        **line_json(link.name, tally),
        "baud": link.baud or None,
        "framing": link.framing,
        "summed": tally.form.is_summed,
        "rates": [
            {"type": kind, "pace": rate.pace.value, "mean_s": rate.mean_s, "text": rate.text}
            for kind, rate in rates_of(talk, tally).items()
        ],
        "speed": None if speed is None else speed.to_json(),
    }
    if state == "link lost":
        return Reading(
            ReadingState.NONE, "bytes", instrument=identity, detail={**detail, "why": "the serial port was lost"}
        )
    return Reading(ReadingState.VALUE, "bytes", float(tally.bytes), instrument=identity, detail=detail)


def _strangers(bus: Bus, tally: BusTally | None) -> list[str]:
    """Identifiers that were heard and that nothing in the profile has, whether or not its sender is known."""
    known = known_on_bus(bus)
    heard = sorted(tally.ids, key=lambda key: (key.extended, key.can_id)) if tally is not None else []
    return [key.text for key in heard if not known.knows(key)]


def _signals(harness: Harness, bus: Bus, tally: BusTally | None, begin_ns: int, dropped: int) -> dict[str, object]:
    """By `message.signal`, what was seen of the signals that the profile has limits for; nothing where it has none."""
    expected = [entry for entry in harness.signals if entry.bus == bus.name]
    found = {}
    for entry in expected:
        own = signal_tally(entry, tally)
        found[entry.name] = signal_json(judge_signal(entry, own, origin_ns=begin_ns, dropped=dropped), own)
    return {"signals": found} if expected else {}


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


def _unacknowledged(units: list[UnitPresence], silence: str) -> list[UnitPresence]:
    """What a silent bench can't tell of fewer than two units: a lone one has nobody to acknowledge it, and is not heard."""
    heard = [unit for unit in units if unit.first_ns is not None]
    if not heard:
        why = (
            "; nobody to acknowledge: while this bench listens silently, a unit that is alone on the bus is not heard. "
            "Power a second one, or listen with --acknowledge"
        )
        return [replace(unit, text=unit.text + why) if unit.verdict is Outcome.UNSURE else unit for unit in units]
    if len(heard) == 1 and silence == UNPROVED:
        why = "; it may be this bench that acknowledged it: its silence is unproved (benchcheck ready --prove-silent)"
        return [
            replace(unit, verdict=Outcome.UNSURE, text=unit.text + why)
            if unit is heard[0] and unit.verdict is Outcome.PASS
            else unit
            for unit in units
        ]
    return units


def _presence_json(unit: UnitPresence, begin_ns: int, tally: BusTally | None) -> dict[str, object]:
    source = tally.groups.get(unit.unit) if tally is not None else None
    pauses = unit.pauses[:MOST_PAUSES]
    return {
        "verdict": unit.verdict.value,
        "state": unit.state.value,
        "text": unit.text,
        "first_s": _since(unit.first_ns, begin_ns),
        "last_s": _since(unit.last_ns, begin_ns),
        "max_gap_s": unit.max_gap_s,
        "mean_period_s": _period_s(source),
        "pauses": [
            {
                "source": pause.source,
                "start_s": _since(pause.start_ns, begin_ns),
                "length_s": round(pause.length_ns / SECOND_NS, 6),
            }
            for pause in pauses
        ],
    }


def _unexpected_json(units: Sequence[UnitPresence], begin_ns: int, tally: BusTally | None) -> list[dict[str, object]]:
    """Identifiers that nobody should send (no `owner`), or that a second one sends, or may send, beside its owner."""
    sources = {key.text: source for key, source in tally.ids.items()} if tally is not None else {}
    return [
        {
            "identifier": found.unit,
            "owner": found.owner or None,
            "verdict": found.verdict.value,
            "text": found.text,
            "count": sources[found.unit].count,
            "first_s": _since(found.first_ns, begin_ns),
            "last_s": _since(found.last_ns, begin_ns),
            "max_gap_s": found.max_gap_s,
            "mean_period_s": _period_s(sources[found.unit]),
        }
        for found in units
        if found.state is PresenceState.UNEXPECTED
    ]


def _gap_json(gap: RecorderGap, begin_ns: int) -> dict[str, object]:
    return {
        "start_s": _since(gap.start_ns, begin_ns),
        "length_s": round((gap.end_ns - gap.start_ns) / SECOND_NS, 6),
        "why": gap.why,
        "dropped": gap.dropped,
    }


def _since(stamp_ns: int | None, begin_ns: int) -> float | None:
    return None if stamp_ns is None else round((stamp_ns - begin_ns) / SECOND_NS, 6)


def _period_s(source: SourceTally | None) -> float | None:
    period = source.mean_period_ns() if source is not None else None
    return None if period is None else round(period[0] / period[1] / SECOND_NS, 6)
