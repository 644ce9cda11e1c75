"""Faults that show under power: what each makes of the steps of the power and live stages.

A fault says which steps fail and for what reason; all others it leaves as they should be. What an open conductor or
protector does is read off the resistor network in the bench state of each step: which feeds, buses and lines no longer reach.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.candidates import open_part, open_run
from benchcheck.diagnosis.hypothesis import Hypothesis
from benchcheck.diagnosis.path import path_between
from benchcheck.harness.buses import pairs
from benchcheck.harness.model import Feed, Role, Talk
from benchcheck.harness.power import power_pairs, unit_contacts
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import ref_of
from benchcheck.words.result import Result
from benchcheck.words.squawk import SquawkKind

Ohms = Callable[[Sequence[Hypothesis], BenchState, str, str], float]
# A way by wire and protectors stays below this; a way through what units have inside lies above it.
REACHES_OHM = 50.0
# A probe beside the plan: what one piece of a way loses while the load is drawn; and what is too much for it, in volts.
DROP_PROBE = "follow_up:drop"
EXCESS_V = 0.08
# Checks of which each fault is one of its own, by the reason or at all.
ALONE = {
    "bus_load": SquawkKind.BUS_OVERLOAD,
    "bus_errors": SquawkKind.ERROR_FRAMES,
    "bus_strangers": SquawkKind.UNEXPECTED_MESSAGE,
    "can_level": SquawkKind.CAN_LEVEL,
}
OF_A_UNIT = {"late": SquawkKind.LATE_UNIT, "intermittent": SquawkKind.INTERMITTENT_UNIT, "lost": SquawkKind.SILENT_UNIT}
OF_A_LINE = {
    "wrong_speed": SquawkKind.WRONG_BAUD,
    "garbage": SquawkKind.WRONG_BAUD,
    "bad_checksums": SquawkKind.WRONG_BAUD,
    "inverted": SquawkKind.INVERTED_LEVELS,
    "wrong_talker": SquawkKind.WRONG_TALKER,
    "too_slow": SquawkKind.WRONG_RATE,
    "too_fast": SquawkKind.WRONG_RATE,
    "irregular": SquawkKind.WRONG_RATE,
    "silent": SquawkKind.SILENT_LINE,
}
OF_A_SIGNAL = {"stuck": SquawkKind.STUCK_SIGNAL, "absurd": SquawkKind.ABSURD_SIGNAL}


class Powered:
    """The steps of the power and live stages of a bench, and what may stand behind those that failed."""

    def __init__(self, context: Context, results: Sequence[Result], ohms: Ohms) -> None:
        self._context, self._results, self._ohms = context, results, ohms
        self._harness = context.harness

    def candidates(self, failed: Sequence[Result]) -> Iterator[Hypothesis]:
        """Hypotheses for failed steps; the same one only once."""
        seen = set()
        for result in failed:
            for fault in (*self._of(result), *self._exchanged(result, failed)):
                if fault.key not in seen and result.step.id in fault.says:
                    seen.add(fault.key)
                    yield fault

    def _of(self, result: Result) -> Iterator[Hypothesis]:
        step, reason, text = result.step, result.verdict.reason, result.verdict.text
        match step.check:
            case "unit_heard":
                unit = step.subject[0]
                yield from (self.silent(unit), self.unpowered(unit), *self._ways_to_bus(result))
                yield self._silent_on(unit, step.subject[1], result)
                if reason in OF_A_UNIT:
                    yield self._alone(OF_A_UNIT[reason], (unit,), f"{unit}: {text}", result)
            case "link_alive":
                sender = step.subject[1]
                talk = self._talk(result)
                yield from (self.silent(sender), self.unpowered(sender))
                if talk is not None:
                    yield from (self.dead_transmitter(sender, talk.tx), *self._on_the_way(talk.tx, step.red, result))
                    yield from self._on_the_way(step.black, self._harness.chassis, result)  # the return
                    yield from (self.dead_transmitter(sender, talk.tx, inverted=True),)
                if reason in OF_A_LINE:
                    text = f"{step.subject[0]}, {sender}: {text}"
                    yield self._alone(OF_A_LINE[reason], step.subject[:2], text, result)
            case "rs232_idle":
                tx = str(step.settings["talk"])
                yield self.dead_transmitter(step.subject[1], tx)
                yield self.dead_transmitter(step.subject[1], tx, inverted=True)
                yield from (self.unpowered(step.subject[1]), *self._on_the_way(tx, step.red, result))
                yield from self._on_the_way(step.black, self._harness.chassis, result)
            case "unit_current":
                yield self.unpowered(step.subject[0])
                text = f"{step.subject[0]} draws {result.reading.text}"
                yield self._alone(SquawkKind.UNIT_CURRENT, step.subject[:1], text, result)
            case "feed_volts" | "feed_drop":
                feed = next((f for f in self._harness.feeds if f.name == step.subject[3]), None)
                if feed is not None:
                    yield from self._of_feed(feed, result)
            case "signal_range":
                where = (*step.subject, str(step.settings["signal"]))
                kind = OF_A_SIGNAL.get(reason, SquawkKind.UNEXPLAINED)
                yield self._alone(kind, where, f"{' on '.join(step.subject)}: {text}", result)
            case check if check in ALONE:
                yield self._alone(ALONE[check], step.subject, f"{step.subject[0]}: {text}", result)

    def _exchanged(self, result: Result, failed: Sequence[Result]) -> Iterator[Hypothesis]:
        """Two talkers each of which says what the other should."""
        if result.step.check != "link_alive":
            return
        for other in failed:
            if other.step.check != "link_alive":
                continue
            if (
                other.step.id > result.step.id
                and _says_of(self._talk(result), other)
                and _says_of(self._talk(other), result)
            ):
                one, two = result.step.subject[:2], other.step.subject[:2]
                text = f"{one[1]} on {one[0]} and {two[1]} on {two[0]} are exchanged: each says what the other should"
                says = {r.step.id: frozenset({"wrong_talker"}) for r in (result, other)}
                yield Hypothesis(SquawkKind.EXCHANGED_TALKERS, (*one, *two), text, says=says)

    # --- faults of units ------------------------------------------------------------------------------------

    def silent(self, unit: str) -> Hypothesis:
        """A unit that has power and says nothing, on the bus or on its lines."""
        says = self._says({"unit_heard": "missing lost", "link_alive": "silent"}, lambda r: unit in r.step.subject[:2])
        return Hypothesis(
            SquawkKind.SILENT_UNIT, (unit,), f"{unit} says nothing, though its wires are whole", says=says
        )

    def _silent_on(self, unit: str, bus: str, result: Result) -> Hypothesis:
        says = {result.step.id: frozenset({"missing", "lost"})}
        text = f"{unit} says nothing on {bus}, whatever else it does: not set up for it, or faulty there"
        return Hypothesis(SquawkKind.SILENT_UNIT, (unit,), text, rarity=0.5, says=says)

    def unpowered(self, unit: str) -> Hypothesis:
        """A unit that is not in, or not on: it draws nothing, drives nothing, says nothing."""
        reasons = {
            "unit_current": "too_little",
            "rs232_idle": "not_driven undefined",
            "unit_heard": "missing lost",
            "link_alive": "silent",
        }
        says = self._says(reasons, lambda r: unit in r.step.subject[:2])
        text = f"{unit} has no power inside: not pushed home, switched off, or its own fuse"
        return Hypothesis(SquawkKind.UNPOWERED_UNIT, (unit,), text, says=says)

    def dead_transmitter(self, unit: str, tx: str, *, inverted: bool = False) -> Hypothesis:
        """An output that stays at 0 V, or whose levels are the other way round."""
        idle, live = ("inverted", "inverted garbage silent") if inverted else ("not_driven undefined", "silent")
        links = {(link.name, talk.sender) for link in self._harness.links for talk in link.talks if talk.tx == tx}
        says = self._says({"rs232_idle": idle, "link_alive": live}, lambda r: tuple(r.step.subject[:2]) in links)
        kind = SquawkKind.INVERTED_LEVELS if inverted else SquawkKind.DEAD_TRANSMITTER
        text = f"the levels of {unit} at {tx} are inverted" if inverted else f"{unit} drives nothing at {tx}"
        return Hypothesis(kind, (tx,), text, says=says)

    # --- feeds and ways -------------------------------------------------------------------------------------

    def _of_feed(self, feed: Feed, result: Result) -> Iterator[Hypothesis]:
        step = result.step
        of_feed = [r.step.id for r in self._results if r.step.check == "feed_volts" and feed.name in r.step.subject]
        if feed.converter:
            off = dict.fromkeys(of_feed, frozenset({"no_volts"}))
            text = f"{feed.converter} gives nothing on {feed.name}"
            yield Hypothesis(SquawkKind.CONVERTER_OFF, (feed.converter,), text, says=off)
        wrong = dict.fromkeys(of_feed, frozenset({"wrong_volts", "reversed"}))
        yield Hypothesis(SquawkKind.FEED_VOLTS, (feed.name,), f"{feed.name} has other volts at its source", says=wrong)
        power, ground = step.subject[1], step.subject[2]
        for source, end in ((feed.source, power), (feed.ground, ground)):
            if step.check == "feed_volts":
                yield from self._on_the_way(source, end, result)
            else:
                yield from self._poor_on_the_way(source, end, result)

    def _ways_to_bus(self, result: Result) -> Iterator[Hypothesis]:
        """Each wire of the bus on the way to a unit, open; and both of a piece, which are cut together."""
        unit, name = result.step.subject
        ways = [[*self._on_the_way(*way, result)] for way in self._bus_ways(unit, name)]
        for faults in ways:
            yield from faults
        for one, other in ((a, b) for a in ways[0] for b in ways[1]) if len(ways) == 2 else ():
            first, second = (self._harness.run(fault.where[0]) for fault in (one, other))
            if first is None or second is None or {*map(ref_of, first.ends)} != {*map(ref_of, second.ends)}:
                continue
            both = tuple(sorted((first.wire, second.wire)))
            text = (
                f"the bus is cut between {ref_of(first.a)} and {ref_of(first.b)}: both {both[0]} and {both[1]} are open"
            )
            yield Hypothesis(
                SquawkKind.BUS_CUT, both, text, remove=frozenset(both), says={**dict(one.says), **dict(other.says)}
            )

    def _on_the_way(self, start: str, end: str, result: Result) -> Iterator[Hypothesis]:
        """Every conductor and protector on the way between two contacts, open."""
        for edge in path_between(self._context.circuit(result.step.state), start, end):
            run = self._harness.run(edge.name)
            part = next((part for part in self._harness.parts if part.ref == edge.name), None)
            if run is not None or part is not None:
                fault = open_run(run) if run is not None else open_part(part) if part is not None else None
                if fault is not None:
                    yield replace(fault, says=self._lost(fault))

    def _poor_on_the_way(self, start: str, end: str, result: Result) -> Iterator[Hypothesis]:
        state = result.step.state
        for edge in path_between(self._context.circuit(state), start, end):
            run = self._harness.run(edge.name)
            if run is not None:
                dropping = [
                    r.step.id
                    for r in self._results
                    if (r.step.check == "feed_drop" and self._carries(edge.name, r))
                    or (r.step.check == DROP_PROBE and {r.step.red, r.step.black} == set(run.ends))
                ]
                text = f"{run.wire} between {run.a} and {run.b} loses volts under load: a poor crimp or joint"
                says = dict.fromkeys(dropping, frozenset({"too_much"}))
                yield Hypothesis(SquawkKind.HIGH_RESISTANCE, (run.wire,), text, says=says)

    def _carries(self, name: str, result: Result) -> bool:
        feed = next((f for f in self._harness.feeds if f.name == result.step.subject[3]), None)
        circuit = self._context.circuit(result.step.state)
        ways = [] if feed is None else [(feed.source, result.step.subject[1]), (feed.ground, result.step.subject[2])]
        return any(edge.name == name for a, b in ways for edge in path_between(circuit, a, b))

    def _lost(self, fault: Hypothesis) -> dict[str, frozenset[str]]:
        """What no longer reaches, with a conductor or protector open: the steps that fail for it."""
        found: dict[str, frozenset[str]] = {}
        for result in self._results:
            step = result.step
            match step.check:
                case "feed_volts":
                    feed = next(f for f in self._harness.feeds if f.name == step.subject[3])
                    ways, reasons = [(feed.source, step.subject[1]), (feed.ground, step.subject[2])], {"no_volts"}
                case "link_alive" | "rs232_idle":
                    talk = self._talk(result)
                    ways = [(talk.tx, step.red)] if talk is not None else []
                    ways.append((step.black, self._harness.chassis))
                    reasons = {"not_driven", "undefined"}
                    if step.check == "link_alive":
                        reasons = {"silent", "garbage", "bad_checksums"}
                case "unit_heard":
                    ways, reasons = self._bus_ways(step.subject[0], step.subject[1]), {"missing", "lost"}
                case "unit_current":
                    fed = [pair for pair in power_pairs(self._harness) if pair.unit == step.subject[0]]
                    ways, reasons = [(p.feed.source, p.power) for p in fed][:1], {"too_little"}
                case _:
                    continue
            if any(self._is_cut(fault, step.state, *way) for way in ways):
                found[step.id] = frozenset(reasons)
        return found

    def _is_cut(self, fault: Hypothesis, state: BenchState, a: str, b: str) -> bool:
        return self._ohms((), state, a, b) < REACHES_OHM <= self._ohms((fault,), state, a, b)

    def _bus_ways(self, unit: str, name: str) -> list[tuple[str, str]]:
        bus = next(bus for bus in self._harness.buses if bus.name == name)
        here = next((place for place in pairs(self._harness, bus) if place.connector == bus.adapter_at), None)
        if here is None or unit not in self._harness.units:
            return []
        ends = [(here.high, Role.CAN_H), (here.low, Role.CAN_L)]
        owner = self._harness.units[unit]
        return [(start, end) for start, role in ends for end in unit_contacts(self._harness, owner, role)[:1]]

    # --- words ----------------------------------------------------------------------------------------------

    def _talk(self, result: Result) -> Talk | None:
        link, sender = result.step.subject[:2]
        talks = (t for entry in self._harness.links if entry.name == link for t in entry.talks)
        return next((talk for talk in talks if talk.sender == sender), None)

    def _says(self, reasons: dict[str, str], about: Callable[[Result], bool]) -> dict[str, frozenset[str]]:
        return {
            r.step.id: frozenset(reasons[r.step.check].split())
            for r in self._results
            if r.step.check in reasons and about(r)
        }

    def _alone(self, kind: SquawkKind, where: tuple[str, ...], text: str, result: Result) -> Hypothesis:
        return Hypothesis(kind, where, text, says={result.step.id: frozenset({result.verdict.reason})})


def _says_of(talk: Talk | None, result: Result) -> bool:
    """Whether what was heard for a step is what this talk should say."""
    heard = result.reading.detail.get("types_sound")
    is_wrong = result.step.check == "link_alive" and result.verdict.reason == "wrong_talker"
    return (
        is_wrong and talk is not None and isinstance(heard, Mapping) and bool(heard) and set(heard) <= set(talk.types)
    )
