"""A run one contact off is one mistake: where it ends and what it is missed by become one finding.

Nothing is lost: what is taken together keeps all its sentences and everything that it names.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from benchcheck.harness.model import Role, Run
from benchcheck.harness.reading.read_pins import SEEN_FROM_TO
from benchcheck.words.contact import ref_of

if TYPE_CHECKING:
    from benchcheck.harness.review.rule import Finding, Rule
    from benchcheck.harness.review.view import View

_ENDS = ("unused_contact", "role_disagrees")  # rules that name a run and the wrong contact that it ends in
MOST = 200  # more of them in one table are no slips of single runs any more, and each stands alone
_AT_CONNECTOR = ("forgotten_run", "needless_double")
_OF_RUN = ("mixed_net", "shield_drained_at_one_end")


def together(view: View, rules: Mapping[str, Rule], found: Sequence[Finding]) -> list[Finding]:
    """The findings, with what follows from a run in a wrong contact put to it."""
    left = list(found)
    for astray in [finding for finding in found if finding.code in _ENDS][:MOST]:
        run = next((run for name in astray.where if (run := view.harness.run(name)) is not None), None)
        if run is None or astray not in left:
            continue
        follows = [other for other in left if _follows(view, rules, other, astray, run)]
        if not follows:
            continue
        # a warning is put to the finding, so that what is grave stays so; else the wrong end is the cause
        head, *rest = (astray, *follows) if astray.code == "role_disagrees" else (*follows, astray)
        where = tuple(dict.fromkeys(name for finding in (head, *rest) for name in finding.where))
        text = "; ".join(finding.text for finding in (head, *rest))
        whole = replace(head, where=where, text=text, place=astray.place)
        left = [finding for finding in left if finding is head or finding not in rest]
        left[next(number for number, finding in enumerate(left) if finding is head)] = whole
    return left


def _follows(view: View, rules: Mapping[str, Rule], finding: Finding, astray: Finding, run: Run) -> bool:
    roles = {run.role, SEEN_FROM_TO.get(run.role, run.role)}
    ref = next(ref_of(name) for name in astray.where if name in run.ends)
    if finding.code in _AT_CONNECTOR:
        contact = finding.where[0]
        wanted = view.missing[contact][1].role in roles if contact in view.missing else True
        return ref_of(contact) == ref and wanted and (contact in view.missing or finding.code == "needless_double")
    if finding.code in _OF_RUN:
        return not {run.wire, *run.ends}.isdisjoint(finding.where)
    if finding.code == "unused_contact" and astray.code == "role_disagrees":
        return run.wire in finding.where and finding.where[0] in astray.where
    lacks = rules[finding.code].lacks
    return finding.code not in _ENDS and lacks != frozenset(Role) and not lacks.isdisjoint(roles)
