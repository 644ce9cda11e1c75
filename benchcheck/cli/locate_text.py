"""What `benchcheck locate` prints: as text, as plain lines, as JSON (benchcheck.locate/1)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from benchcheck.diagnosis.next_probe import Probe
from benchcheck.diagnosis.short_list import ShortList, Suspect, state_words
from benchcheck.report.visible import visible
from benchcheck.words.squawk import Squawk

SCHEMA = "benchcheck.locate/1"
STEPS_SHOWN = 4


def lines(found: Sequence[ShortList], others: Sequence[Squawk], *, plain: bool) -> Iterator[str]:
    """The short lists as text; `plain`: one fact a line, tabs between, the number of its list first."""
    if not found and not others:
        yield "Nothing failed that is still open."
    for number, entry in enumerate(found, 1):
        yield from _tabbed(_plain(number, entry)) if plain else map(visible, _lines(number, entry))
    if others and not plain:
        yield ""
        yield "Other open squawks (no readings in ohms of the dead stage behind them):"
    for squawk in others:
        yield from _tabbed([["squawk", squawk.id, squawk.text]]) if plain else [visible(f"  {squawk.text}")]


def _lines(number: int, entry: ShortList) -> Iterator[str]:
    if number > 1:
        yield ""
    more = f" and {len(entry.steps) - STEPS_SHOWN} more" if len(entry.steps) > STEPS_SHOWN else ""
    yield f"{number}. Behind {', '.join(entry.steps[:STEPS_SHOWN])}{more}:"
    for line, suspect in enumerate(entry.suspects, 1):
        yield f"   {line}) {_percent(suspect)}  {suspect.text}"
        yield from (f"           for: {text}" for text in suspect.favour)
        yield from (f"           against: {text}" for text in suspect.against)
    if entry.probe is not None:
        yield f"   Next probe: {probe_words(entry.probe)} (about {entry.probe.effort_s:.0f} s)."
        for meaning in entry.meanings:
            which = ", ".join(f"{line + 1})" for line in meaning.lines)
            yield f"      {meaning.reads}: speaks for {which}"
    elif entry.none_fits:
        yield "   No probe is suggested: look at what these steps name."
    elif not entry.stands_out:
        yield "   No probe in ohms tells these apart: look, or pull a contact."


def _tabbed(rows: Iterable[Sequence[object]]) -> Iterator[str]:
    for row in rows:
        yield "\t".join(visible(str(field)) for field in row)


def _plain(number: int, entry: ShortList) -> Iterator[Sequence[object]]:
    yield from ((number, "step", name) for name in entry.steps)
    for line, suspect in enumerate(entry.suspects, 1):
        yield number, "suspect", line, f"{suspect.probability:.4f}", suspect.text
        yield from ((number, "for", line, text) for text in suspect.favour)
        yield from ((number, "against", line, text) for text in suspect.against)
    if entry.probe is not None:
        yield number, "probe", entry.probe.red, entry.probe.black, "; ".join(state_words(entry.probe.state))


def _percent(suspect: Suspect) -> str:
    percent = 100 * suspect.probability
    return ">99 %" if percent > 99 else f"{percent:3.0f} %" if percent >= 1 else " <1 %"


def probe_words(probe: Probe) -> str:
    """What to do for a probe, in words."""
    special = state_words(probe.state)
    return f"{probe.red} to {probe.black}{', ' + '; '.join(special) if special else ''}"


def document(job: str, profile: str, found: Sequence[ShortList], others: Sequence[Squawk]) -> Mapping[str, object]:
    """The short lists as JSON."""
    return {
        "schema": SCHEMA,
        "job": job,
        "profile": profile,
        "cases": [_case(entry) for entry in found],
        "other_squawks": [squawk.to_json() for squawk in others],
    }


def _case(entry: ShortList) -> dict[str, object]:
    return {
        "steps": list(entry.steps),
        "stands_out": entry.stands_out,
        "none_fits": entry.none_fits,
        "suspects": [
            {
                "probability": round(suspect.probability, 6),
                "text": suspect.text,
                "faults": [
                    {"kind": fault.kind.value, "where": list(fault.where), "text": fault.text}
                    for fault in suspect.faults
                ],
                "not_explained": list(suspect.left),
                "for": list(suspect.favour),
                "against": list(suspect.against),
            }
            for suspect in entry.suspects
        ],
        "next_probe": None
        if entry.probe is None
        else {
            "red": entry.probe.red,
            "black": entry.probe.black,
            "state": entry.probe.state.to_json(),
            "bits": round(entry.probe.bits, 4),
            "effort_s": entry.probe.effort_s,
            "outcomes": [{"reads": m.reads, "suspects": list(m.lines)} for m in entry.meanings],
        },
    }
