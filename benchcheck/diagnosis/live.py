"""The live stage: which silence is a fault of its own, and which follows from what is already known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.dead import plain, reading_of
from benchcheck.diagnosis.known import KnownFaults
from benchcheck.diagnosis.power import merged
from benchcheck.words.result import Result
from benchcheck.words.squawk import Squawk, SquawkKind
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

UNIT_KINDS = {
    "missing": SquawkKind.SILENT_UNIT,
    "lost": SquawkKind.SILENT_UNIT,
    "late": SquawkKind.LATE_UNIT,
    "intermittent": SquawkKind.INTERMITTENT_UNIT,
}
UNIT_SILENCE = (SquawkKind.SILENT_UNIT, SquawkKind.LATE_UNIT, SquawkKind.INTERMITTENT_UNIT)
LINK_KINDS = {
    "silent": SquawkKind.SILENT_LINE,
    "wrong_speed": SquawkKind.WRONG_BAUD,
    "garbage": SquawkKind.WRONG_BAUD,
    "bad_checksums": SquawkKind.WRONG_BAUD,
    "inverted": SquawkKind.INVERTED_LEVELS,
    "wrong_talker": SquawkKind.WRONG_TALKER,
    "too_slow": SquawkKind.WRONG_RATE,
    "too_fast": SquawkKind.WRONG_RATE,
    "irregular": SquawkKind.WRONG_RATE,
}
LINE_PAUSES = (SquawkKind.SILENT_LINE, SquawkKind.WRONG_RATE)
SIGNAL_KINDS = {
    "stuck": SquawkKind.STUCK_SIGNAL,
    "absurd": SquawkKind.ABSURD_SIGNAL,
}
BUS_KINDS = {
    "bus_load": SquawkKind.BUS_OVERLOAD,
    "bus_errors": SquawkKind.ERROR_FRAMES,
    "bus_strangers": SquawkKind.UNEXPECTED_MESSAGE,
}


def diagnose_live(context: Context, results: Sequence[Result], known: KnownFaults) -> list[Squawk]:
    """New squawks for the failed steps of the live stage."""
    failed = [result for result in results if result.outcome is Outcome.FAIL]
    squawks: list[Squawk] = []
    # Units first: a unit that is silent on its bus is silent on its lines for the same reason.
    for result in sorted(failed, key=lambda r: r.step.check != "unit_heard"):
        squawk = _of(context, result, known)
        if squawk is not None:
            squawks.append(squawk)
    return merged(_exchanged(context, failed, _one_silence(context, squawks)))


def _exchanged(context: Context, failed: Sequence[Result], squawks: Sequence[Squawk]) -> list[Squawk]:
    """Two talkers each of which says what the other should: told as one exchange, not as two wrong talkers."""
    wrong = {squawk.where: squawk for squawk in squawks if squawk.kind is SquawkKind.WRONG_TALKER}
    types: dict[tuple[str, ...], tuple[str, ...]] = {
        (link.name, talk.sender): talk.types for link in context.harness.links for talk in link.talks
    }
    heard = {result.step.subject[:2]: result.reading.detail.get("types_sound") for result in failed}
    told = list(squawks)
    for one, other in combinations(list(wrong), 2):
        if one not in wrong or other not in wrong:
            continue  # told already
        of_one, of_other = heard.get(one), heard.get(other)
        if not (isinstance(of_one, Mapping) and isinstance(of_other, Mapping)):
            continue
        if set(of_one) <= set(types[other]) and set(of_other) <= set(types[one]):
            first, second = wrong.pop(one), wrong.pop(other)
            text = (
                f"{one[1]} on {one[0]} says what {other[1]} should say on {other[0]}, and the other way round: "
                "two talkers, or two outputs of one, are exchanged"
            )
            told[told.index(first)] = Squawk(
                SquawkKind.EXCHANGED_TALKERS,
                (*one, *other),
                first.stage,
                text,
                first.steps + second.steps,
                first.readings + second.readings,
            )
            told.remove(second)
    return told


def _one_silence(context: Context, squawks: Sequence[Squawk]) -> list[Squawk]:
    """Silent lines of units that are silent altogether, or began too late to be heard there, or came and went: told as the unit's fault."""
    silent = {squawk.where[0]: squawk for squawk in squawks if squawk.kind in UNIT_SILENCE}
    silent |= _silent_on_all_lines(context, squawks)
    told = []
    for squawk in squawks:
        unit = silent.get(squawk.where[1]) if squawk.kind in LINE_PAUSES else None
        told.append(squawk if unit is None else replace(unit, steps=squawk.steps, readings=squawk.readings))
    return told


def _silent_on_all_lines(context: Context, squawks: Sequence[Squawk]) -> dict[str, Squawk]:
    """Units that speak on lines only, and on none of them."""
    lines: dict[str, list[Squawk]] = {}
    for squawk in squawks:
        if squawk.kind is SquawkKind.SILENT_LINE:
            lines.setdefault(squawk.where[1], []).append(squawk)
    on_bus = {unit for bus in context.harness.buses for unit in bus.talkers}
    found = {}
    for unit, silences in lines.items():
        talks = sum(talk.sender == unit for link in context.harness.links for talk in link.talks)
        if unit not in on_bus and len(silences) == talks:
            text = f"{unit} says nothing on any of its lines, though its transmitter holds its level"
            found[unit] = replace(silences[0], kind=SquawkKind.SILENT_UNIT, where=(unit,), text=text)
    return found


def _of(context: Context, result: Result, known: KnownFaults) -> Squawk | None:
    step, reason, text = result.step, result.verdict.reason, result.verdict.text
    match step.check:
        case "unit_heard":
            unit, bus = step.subject
            if reason in ("missing", "lost") and not known.bus_reaches(unit, bus, step.state):
                return None
            return _one(UNIT_KINDS.get(reason, SquawkKind.UNEXPLAINED), (unit,), f"{unit}: {text}", result)
        case "link_alive":
            link, sender, contact = step.subject
            tx = next(
                (
                    t.tx
                    for entry in context.harness.links
                    if entry.name == link
                    for t in entry.talks
                    if t.sender == sender
                ),
                contact,
            )
            told = known.has(SquawkKind.DEAD_TRANSMITTER, tx) or known.has(SquawkKind.INVERTED_LEVELS, tx)
            if told or not known.grounded(step.black, step.state):
                return None
            if not known.joined(tx, contact, step.state) or not known.untouched(contact, step.state):
                return None
            kind = LINK_KINDS.get(reason, SquawkKind.UNEXPLAINED)
            where: tuple[str, ...] = (tx,) if kind is SquawkKind.INVERTED_LEVELS else (link, sender)
            return _one(kind, where, f"{link}, {sender}: {text}", result)
        case "bus_load" | "bus_errors" | "bus_strangers":
            return _one(BUS_KINDS[step.check], (step.subject[0],), f"{step.subject[0]}: {text}", result)
        case "signal_range":  # what is behind it can't be told from the bench; the verdict has the evidence
            where = (*step.subject, str(step.settings["signal"]))
            kind = SIGNAL_KINDS.get(reason, SquawkKind.UNEXPLAINED)
            return _one(kind, where, f"{' on '.join(step.subject)}: {text}", result)
        case _:
            return plain(result)


def _one(kind: SquawkKind, where: tuple[str, ...], text: str, result: Result) -> Squawk:
    return Squawk(kind, where, Stage.LIVE.value, text, (result.step.id,), (reading_of(result),))
