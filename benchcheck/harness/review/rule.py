"""What a rule of the paper review is, and the one list of them: every module of this package that registers one."""

from __future__ import annotations

import importlib
import pkgutil
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import ClassVar

from benchcheck.harness.model import Harness, Role
from benchcheck.harness.review.astray import together
from benchcheck.harness.review.view import View
from benchcheck.words.errors import FileFault, Place


class Severity(StrEnum):
    FINDING = "finding"  # the harness can't be right as the table says
    WARNING = "warning"  # it can be right, but somebody should look


@dataclass(frozen=True, slots=True)
class Hit:
    """One place that a rule found: what is meant (contacts, runs, units …), where it is written, and a sentence."""

    where: tuple[str, ...]
    place: Place
    text: str


@dataclass(frozen=True, slots=True)
class Finding:
    """A hit with what its rule says of all its hits."""

    code: str
    severity: Severity
    where: tuple[str, ...]
    place: Place
    text: str
    why: str
    do: str
    source: str

    def __str__(self) -> str:
        return f"{self.severity.value} {self.place}: {self.text} [{self.code}]"

    def to_json(self) -> dict[str, object]:
        return {
            "code": self.code,
            "severity": self.severity.value,
            "where": list(self.where),
            "file": self.place.file,
            "line": self.place.line,
            "column": self.place.column,
            "text": self.text,
            "why": self.why,
            "do": self.do,
            "source": self.source,
        }


class Rule(ABC):
    """One rule: a code, how grave it is, what it looks for, why that matters, what to do, and who says so."""

    code: ClassVar[str]
    severity: ClassVar[Severity]
    title: ClassVar[str]
    why: ClassVar[str]
    do: ClassVar[str]
    source: ClassVar[str]
    # roles of the runs that may be missing where this rule finds something; all is quiet while a row of one is faulty
    lacks: ClassVar[frozenset[Role]] = frozenset()

    @abstractmethod
    def hits(self, view: View) -> Iterator[Hit]:
        """Each place where the harness breaks the rule."""


class TableRule(Rule):
    """A rule that reading the pin table finds: such a table loads for no other command, but it can be reviewed."""

    severity = Severity.FINDING

    def hits(self, view: View) -> Iterator[Hit]:
        for fault in view.faults:
            if fault.code == self.code:
                yield Hit(fault.names, fault.place, f"{fault.text}. {fault.hint}" if fault.hint else fault.text)


_RULES: dict[str, Rule] = {}


def review_rule(kind: type[Rule]) -> type[Rule]:
    """Register a rule under its code."""
    if kind.code in _RULES:
        raise ValueError(f"two rules have the code {kind.code}")
    _RULES[kind.code] = kind()
    return kind


@cache
def all_rules() -> Mapping[str, Rule]:
    """Every rule by code."""
    package = importlib.import_module("benchcheck.harness.review")
    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"{package.__name__}.{module.name}")
    return dict(sorted(_RULES.items()))


def review(harness: Harness, faults: Sequence[FileFault] = ()) -> tuple[Finding, ...]:
    """Everything that is wrong on paper: findings first, then warnings, each in the order of the files.

    faults  what reading the pin table found (`read_partly`): those that break a rule come first, and what may only
            follow from faulty rows is left unsaid until they are mended
    """
    view = View(harness, faults)
    found = [
        Finding(rule.code, rule.severity, hit.where, hit.place, hit.text, rule.why, rule.do, rule.source)
        for rule in all_rules().values()
        if not rule.lacks & view.doubt.roles
        for hit in rule.hits(view)
        if isinstance(rule, TableRule) or not view.doubt.covers(hit.where)
    ]
    return tuple(sorted(together(view, all_rules(), found), key=_order))


def _order(finding: Finding) -> tuple[bool, bool, str, int, int, str]:
    place = finding.place
    light = finding.severity is not Severity.FINDING
    later = not isinstance(_RULES[finding.code], TableRule)
    return (light, later, place.file, place.line or 0, place.column or 0, finding.code)
