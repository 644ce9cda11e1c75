"""A core leaves its shield, or lies in a shielded cable without being in the shield."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchcheck.harness.model import Role, Run
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View
from benchcheck.words.contact import ref_of


@review_rule
class ShieldNotAlongCore(Rule):
    code = "shield_not_along_core"
    severity = Severity.FINDING
    title = "A shield goes along with its cores, and around all cores of its cable"
    why = "A core that is outside for a part of its way picks up there what the shield keeps off elsewhere."
    do = "Name the shield in the row of each core of its cable; correct cable, or the contacts of the shield."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        named: dict[str, list[Run]] = {}
        bare: dict[str, list[Run]] = {}
        for run in view.harness.runs:
            if run.role in (Role.SHIELD, Role.BRIDGE):
                continue
            if run.shield:
                named.setdefault(run.shield, []).append(run)
            elif run.cable:
                bare.setdefault(run.cable, []).append(run)
        told: set[str] = set()
        # pairs that are not in one cable are reported as that
        split = {run.wire for seen in view.buses for _, runs in seen.split_pairs for run in runs}
        for shield in view.shields.values():
            cores = named.get(shield.wire, [])
            for core in cores:
                if core.cable != shield.cable and core.wire not in split:
                    text = f"{core.wire} is in {core.cable or 'no cable'}, its shield {shield.wire} in {shield.cable or 'none'}"
                    yield Hit((core.wire, shield.wire), core.place, text)
            outside = [run for run in bare.get(shield.cable, ()) if run.wire not in split]
            if shield.cable and shield.cable not in told and outside:
                told.add(shield.cable)
                wires = ", ".join(run.wire for run in outside)
                text = f"{shield.cable} has a shield, {shield.wire}, and it is not around {wires}"
                yield Hit((*(run.wire for run in outside), shield.wire), outside[0].place, text)
            yield from self._astray(view, shield, [core for core in cores if core.cable == shield.cable])

    def _astray(self, view: View, shield: Run, cores: Sequence[Run]) -> Iterator[Hit]:
        """Ends of a shield at connectors to which no core of it goes; past a splice the table doesn't tell."""
        ends = {ref_of(end) for core in cores for end in core.ends}
        if not cores or not all(view.harness.connectors[ref].has_shell for ref in ends):
            return
        if any(view.doubt.covers((core.wire,)) for core in cores):
            return  # an end of the core is missing
        for end in shield.ends:
            if ref_of(end) not in ends and view.harness.connectors[ref_of(end)].has_shell:
                wires = ", ".join(core.wire for core in cores)
                text = f"shield {shield.wire} ends at {end}, and its cores {wires} don't go there"
                yield Hit((shield.wire, end), shield.place, text)
