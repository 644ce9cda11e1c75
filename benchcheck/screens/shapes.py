"""A shape beside each word of a verdict, so that colour says nothing that is not said otherwise."""

from __future__ import annotations

from rich.text import Text

from benchcheck.report.visible import visible
from benchcheck.words.verdict import Outcome

SKIPPED_SHAPE = "?"  # of a connector some of whose steps were left out: as little proved as one that is unsure
SHAPES = {
    Outcome.PASS.value: "●",
    Outcome.FAIL.value: "X",
    Outcome.UNSURE.value: "?",
    Outcome.SKIPPED.value: "»",
    "skipped": SKIPPED_SHAPE,
    "todo": "○",
    "none": "-",
}
STYLES = {
    Outcome.PASS.value: "green",
    Outcome.FAIL.value: "bold red",
    Outcome.UNSURE.value: "bold yellow",
    Outcome.SKIPPED.value: "yellow",
    "skipped": "bold yellow",
}


def word_and_shape(word: str) -> Text:
    """`● PASS`; the word may be in small letters, as the board has it."""
    key = word if word in SHAPES else word.upper()
    shown = "" if word == "none" else f" {word}"
    return Text(f"{SHAPES[key]}{shown}", style=STYLES.get(key, ""))


def safe(text: str, style: str = "") -> Text:
    """Text as it is: no markup is read in it, and what nobody would see is written out."""
    return Text(visible(text), style=style)
