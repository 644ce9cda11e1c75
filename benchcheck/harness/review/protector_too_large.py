"""A protector lets more through than the thinnest wire behind it bears."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import PartKind, Role, Run
from benchcheck.harness.nets import Groups
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.harness.wire import BREAKER_SOURCE, TABLE_SOURCE, ampacity_a, awg_text, largest_breaker_a


@review_rule
class ProtectorTooLarge(Rule):
    code = "protector_too_large"
    severity = Severity.FINDING
    title = "A protector trips before the thinnest wire behind it burns"
    why = "A short at the far end of a thin wire draws less than the protector trips at, and more than the wire bears."
    do = "Use a smaller protector, thicker wire, or a protector of its own for the thin wire."
    source = f"{BREAKER_SOURCE}; thinner wire, which it lacks: {TABLE_SOURCE}"

    def hits(self, view: View) -> Iterator[Hit]:
        zones: Groups[str] = Groups()
        for run in view.harness.runs:
            if run.b and run.role is not Role.SHIELD:
                zones.join(run.a, run.b)
        for part in view.harness.parts:
            if part.kind is PartKind.SWITCH:
                zones.join(part.a, part.b)
        thinnest: dict[str, Run] = {}
        for run in view.harness.runs:
            if run.b and run.role is not Role.SHIELD and run.awg is not None:
                zone = zones.find(run.a)
                known = thinnest.setdefault(zone, run)
                if known.awg is not None and run.awg > known.awg:
                    thinnest[zone] = run
        for part in view.harness.parts:
            if part.kind is not PartKind.PROTECTOR or part.rating_a is None:
                continue
            if len(view.feeds_by_group.get(view.conducting.find(part.a), ())) > 1 or any(
                map(view.net_roles.is_troubled, (part.a, part.b))
            ):
                continue  # feeds that are joined are reported, and what lies behind a protector can't be told
            behind = view.currents.downstream(part)
            thin = thinnest.get(zones.find(behind)) if behind in zones else None
            if thin is None or thin.awg is None:
                continue
            most, source = _most_a(view, thin, thin.awg)
            if part.rating_a > most:
                text = (
                    f"{part.ref} trips at {part.rating_a:g} A, and {thin.wire} behind it is AWG {awg_text(thin.awg)}: "
                    f"at most {most:g} A ({source})"
                )
                yield Hit((part.ref, thin.wire), part.place, text)


def _most_a(view: View, run: Run, awg: int) -> tuple[float, str]:
    breaker = largest_breaker_a(awg)
    if breaker is not None:
        return breaker, BREAKER_SOURCE
    return ampacity_a(awg, view.insulation_c(run)), f"what it carries by {TABLE_SOURCE}"
