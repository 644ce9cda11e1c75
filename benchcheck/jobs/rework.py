"""Recording a rework, with the steps that it makes due again: so that the record alone says which."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchcheck.harness.model import Harness
from benchcheck.plan.plan import Plan
from benchcheck.readiness.board import fold
from benchcheck.readiness.dependents import Dependents, contacts_named
from benchcheck.record.store import JobRecord
from benchcheck.words.event import EventKind
from benchcheck.words.ways import Ways


@dataclass(frozen=True, slots=True)
class Reworked:
    """contacts  all that were worked on
    again     step -> the contact that it rests on, in plan order
    had       those of them that had a verdict or a waiver until now
    """

    contacts: tuple[str, ...]
    again: Mapping[str, str]
    had: tuple[str, ...]


def record_rework(
    record: JobRecord, harness: Harness, plan: Plan, what: Sequence[str], *, ways: Ways, reason: str, who: str
) -> Reworked:
    """Record that contacts, runs or whole connectors were pulled, reseated or wired anew.

    what  as a person names them: `P101-4`, `W101`, `P101`; each must be known to the harness
    """
    contacts: dict[str, None] = {}
    for name in what:
        contacts |= dict.fromkeys(contacts_named(harness, name))
    events = record.events()
    again = Dependents(harness, plan, ways).of_contacts(list(contacts))
    board = fold(plan, events)
    had = tuple(name for name in again if name in board.results or name in board.waived)
    runs = [name for name in what if harness.run(name) is not None]
    connectors = [name for name in what if name not in runs and len(contacts_named(harness, name)) != 1]
    body: dict[str, object] = {
        "contacts": list(contacts),
        "runs": runs,
        "connectors": connectors,
        "reason": reason,
        "again": again,
    }
    record.append(EventKind.REWORK, body, who=who)
    return Reworked(tuple(contacts), again, had)
