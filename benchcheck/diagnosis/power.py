"""The power stage: what stands behind wrong volts, drops, currents and levels."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import replace

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.candidates import candidates
from benchcheck.diagnosis.dead import Diagnosing, plain, probe_of, reading_of
from benchcheck.diagnosis.hypothesis import fits
from benchcheck.diagnosis.known import KnownFaults
from benchcheck.diagnosis.likelihood import floor, log_likelihood
from benchcheck.diagnosis.path import path_between
from benchcheck.diagnosis.powered import EXCESS_V
from benchcheck.diagnosis.priors import log_chance
from benchcheck.diagnosis.readings import EXPLAINED
from benchcheck.harness.model import Feed
from benchcheck.words.contact import ref_of
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request
from benchcheck.words.result import Result
from benchcheck.words.squawk import Squawk, SquawkKind
from benchcheck.words.step import Quantity, Stage
from benchcheck.words.verdict import Outcome


def diagnose_power(context: Context, results: Sequence[Result], known: KnownFaults) -> Diagnosing:
    """Explain the failed steps of the power stage. Yields probes, is sent readings, returns new squawks."""
    failed = [r for r in results if r.outcome is Outcome.FAIL]
    squawks = _feeds(context, results, known)
    no_feed = {name for squawk in squawks for name in squawk.where}
    for result in failed:
        step = result.step
        match step.check:
            case "feed_volts":
                feed = _feed(context, str(step.settings["feed"]))
                reached = _reached(known, feed, result)
                if reached and feed.name not in no_feed and feed.converter not in no_feed:
                    squawks.append(plain(result))
            case "feed_drop":
                feed = _feed(context, step.subject[3])
                if _reached(known, feed, result) and not no_feed & {feed.name, feed.converter}:
                    squawks += yield from _poor_joint(context, result, feed)
            case "no_volts":
                if known.untouched(step.red, step.state):
                    squawks.append(plain(result))
            case "unit_current":
                text = f"{step.subject[0]} draws {result.reading.text}, {_limit(result)}"
                squawks.append(_one(SquawkKind.UNIT_CURRENT, (step.subject[0],), text, result))
            case "rs232_idle":
                tx = str(step.settings["talk"])
                wired = known.joined(tx, step.red, step.state) and known.untouched(step.red, step.state)
                if wired and known.grounded(step.black, step.state):
                    squawks.append(_one(*_level(step.subject[1], tx, result), result))
            case "loop_back":
                # along wires that are known to be wrong nothing could come back as it should
                ways = zip((step.red, step.black), step.subject[3:], strict=True)
                if all(known.joined(near, far, step.state) and known.untouched(near, step.state) for near, far in ways):
                    squawks.append(plain(result))
            case "termination":
                squawks += _termination(context, result, known)
            case "can_level":
                returns = all(known.grounded(feed.ground, step.state) for feed in context.harness.feeds)
                if returns and known.untouched(step.red, step.state):
                    text = f"{step.subject[0]}: {step.red} sits at {result.reading.text}, {_limit(result)}"
                    squawks.append(_one(SquawkKind.CAN_LEVEL, step.subject, text, result))
            case _:
                squawks.append(plain(result))
    return merged(squawks)


def _level(unit: str, tx: str, result: Result) -> tuple[SquawkKind, tuple[str, ...], str]:
    """What is behind a wire that is at no mark level, though it comes from the transmitter as it should."""
    read = f"{result.reading.text} on {result.step.red}"
    if result.verdict.reason == "inverted":
        text = (
            f"{unit} holds {tx} positive while idle: {read}; its levels are inverted, or what drives this wire is "
            "not the transmitter that the profile says"
        )
        return SquawkKind.INVERTED_LEVELS, (tx,), text
    return SquawkKind.DEAD_TRANSMITTER, (tx,), f"{unit} does not hold {tx} at an RS-232 mark level: {read}"


def _termination(context: Context, result: Result, known: KnownFaults) -> list[Squawk]:
    """The bus measured with every unit in: what is known may explain it, else a terminator or a piece of the bus."""
    step = result.step
    if fits(known.whole_circuit(step.state).ohms(step.red, step.black), result.reading):
        return []
    if not (known.untouched(step.red, step.state) and known.untouched(step.black, step.state)):
        return []
    network = known.whole_circuit(step.state)
    weights = []
    for number, fault in enumerate(candidates(context, [result])):
        likely = log_likelihood(fault.apply(network).ohms(step.red, step.black), result.reading)
        if likely > floor(result.reading) + EXPLAINED:
            weights.append((log_chance(fault.kind, fault.rarity) + likely, -number, fault))
    if not weights:
        return [plain(result)]
    best = max(weights, key=lambda entry: entry[:2])[2]
    return [_one(best.kind, best.where, best.text, result)]


def merged(squawks: Sequence[Squawk]) -> list[Squawk]:
    """Squawks of the same kind and place as one, with the steps and readings of all."""
    found: dict[str, Squawk] = {}
    for squawk in squawks:
        first = found.get(squawk.id)
        found[squawk.id] = (
            squawk
            if first is None
            else Squawk(
                first.kind,
                first.where,
                first.stage,
                first.text,
                first.steps + squawk.steps,
                first.readings + squawk.readings,
            )
        )
    return list(found.values())


def _feeds(context: Context, results: Sequence[Result], known: KnownFaults) -> list[Squawk]:
    """Feeds that are wrong everywhere they should reach: the source is at fault, not the wires."""
    squawks: list[Squawk] = []
    for feed in context.harness.feeds:
        read = [
            r
            for r in results
            if r.step.check == "feed_volts"
            and r.step.settings["feed"] == feed.name
            and r.reading.state is ReadingState.VALUE
            and _reached(known, feed, r)
        ]
        if not read or any(r.outcome is not Outcome.FAIL for r in read):
            continue
        mean = sum(r.reading.value for r in read) / len(read)
        if feed.converter and abs(mean) < 0.25 * feed.nominal_v:
            kind, where = SquawkKind.CONVERTER_OFF, (feed.converter,)
            text = f"{feed.converter} gives nothing on {feed.name}: {mean:.2f} V everywhere instead of {feed.nominal_v:g} V"
        else:
            kind, where = SquawkKind.FEED_VOLTS, (feed.name,)
            text = f"{feed.name} is {mean:.2f} V everywhere instead of {feed.nominal_v:g} V: look at its source"
        steps, readings = tuple(r.step.id for r in read), tuple(reading_of(r) for r in read)
        squawks.append(Squawk(kind, where, Stage.POWER.value, text, steps, readings))
    return squawks


def _feed(context: Context, name: str) -> Feed:
    return next(feed for feed in context.harness.feeds if feed.name == name)


def _reached(known: KnownFaults, feed: Feed, result: Result) -> bool:
    """Whether the known faults leave both contacts on the feed, each on its own side."""
    step = result.step
    power, ground = step.subject[1], step.subject[2]
    return (
        known.joined(feed.source, power, step.state)
        and known.joined(feed.ground, ground, step.state)
        and not known.joined(feed.source, ground, step.state)
    )


def _poor_joint(context: Context, result: Result, feed: Feed) -> Generator[Request, Reading, list[Squawk]]:
    """Walk the way of the current, load on, and read what each piece loses."""
    step = result.step
    circuit = context.circuit(step.state)
    way = path_between(circuit, feed.source, step.red) + path_between(circuit, step.black, feed.ground)
    worst, name, lost = EXCESS_V, "", 0.0
    found: dict[str, object] = {}
    for edge in way:
        if (
            ref_of(edge.a) in step.state.on_unit - step.state.breakout
            or ref_of(edge.b) in step.state.on_unit - step.state.breakout
        ):
            continue
        reading = yield Request(Quantity.VOLTS, step.state, edge.a, edge.b, step.load_a, (step.red, step.black))
        if reading.state is ReadingState.VALUE:
            excess = abs(reading.value) - step.load_a * edge.ohm
            if excess > worst:
                worst, name, lost = excess, edge.name, abs(reading.value)
                found = probe_of(edge.a, edge.b, reading)
    if not name:
        return [plain(result)]
    run = context.harness.run(name)
    between = f" between {run.a} and {run.b}" if run else ""
    text = f"{name}{between} loses {lost:.2f} V at {step.load_a:g} A, about {lost / step.load_a:.1f} ohm: a poor crimp or joint"
    squawk = _one(SquawkKind.HIGH_RESISTANCE, (name,), text, result)
    return [replace(squawk, readings=(*squawk.readings, found))]


def _limit(result: Result) -> str:
    band = result.step.band
    if band is None:
        return ""
    low = "" if band.low is None else f"at least {band.low:.3g} "
    high = "" if band.high is None else f"at most {band.high:.3g} "
    return f"limit {low}{'and ' if low and high else ''}{high}{band.unit}"


def _one(kind: SquawkKind, where: tuple[str, ...], text: str, result: Result) -> Squawk:
    return Squawk(kind, where, result.step.stage.value, text, (result.step.id,), (reading_of(result),))
