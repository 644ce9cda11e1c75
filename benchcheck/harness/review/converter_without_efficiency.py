"""A converter's efficiency is not declared."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.harness.model import PathKind
from benchcheck.harness.review.rule import Hit, Rule, Severity, review_rule
from benchcheck.harness.review.view import View


@review_rule
class ConverterWithoutEfficiency(Rule):
    code = "converter_without_efficiency"
    severity = Severity.WARNING
    title = "Every converter that makes a feed declares its efficiency"
    why = (
        "Without it the current at its input can't be computed, and wire and protector there are "
        "checked for too little."
    )
    do = "Give efficiency in the unit's file, as a share of 1: that of the data sheet at full load."
    source = "common practice, no source"

    def hits(self, view: View) -> Iterator[Hit]:
        makers = {feed.converter for feed in view.harness.feeds if feed.converter}
        for unit in view.harness.units.values():
            paths = [path for path in unit.type.paths if path.kind is PathKind.CONVERTER]
            if unit.ref in makers and any(path.efficiency is None for path in paths):
                yield Hit((unit.ref,), unit.place, f"converter {unit.ref} has no efficiency in {unit.type.name}.toml")
