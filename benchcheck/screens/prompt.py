"""The middle of the step screen: the two contacts, or what must be done, as large as the terminal lets it be."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from benchcheck.screens.block_letters import ROWS, can_draw, draw, width_of
from benchcheck.screens.shapes import safe

LABEL = 8
_TALL_FROM = 23  # rows of space from which the letters may be twice as high


def leads(red: str, black: str, width: int, height: int) -> Text:
    """Both contacts, red above black, in block letters where they fit."""
    contacts = (("RED", red, "bold red"), ("BLACK", black, "bold"))
    drawable = can_draw(red) and can_draw(black)
    longest = max((red, black), key=len)
    space = width - LABEL
    tall = 2 if height >= _TALL_FROM and width_of(longest, 3) <= space else 1
    widen = next((n for n in range(2 * tall, 0, -1) if width_of(longest, n) <= space), 0)
    text = Text(no_wrap=True, overflow="crop")
    if not drawable or not widen or height < 2 * ROWS:
        for label, contact, style in contacts:
            text.append(f"{label:{LABEL}}", style=style).append_text(safe(contact, style)).append("\n")
        text.rstrip()
        return text
    roomy = height > 2 * ROWS * tall
    for label, contact, style in contacts:
        for number, line in enumerate(draw(contact, widen, tall)):
            middle = number == ROWS * tall // 2
            text.append(f"{label if middle else '':{LABEL}}{line}\n", style=style)
        if roomy and label == "RED":
            text.append("\n")
    text.rstrip()
    return text


def access(short: Sequence[str]) -> Text:
    """How each lead gets onto its contact, a line each."""
    text = Text(no_wrap=True, overflow="ellipsis")
    for label, words in zip(("RED", "BLACK"), short, strict=False):
        text.append(f"{label:6}", style="bold").append_text(safe(words)).append("\n")
    text.rstrip()
    return text


def tasks(todo: Sequence[str]) -> Text:
    """What must be done, numbered, in order."""
    text = Text()
    for number, task in enumerate(todo, 1):
        lead = f"{number}. " if len(todo) > 1 else ""
        text.append(lead, style="bold").append_text(safe(task, "bold")).append("\n")
    text.rstrip()
    return text


def big_word(word: str, below: Text, width: int, height: int, style: str) -> Text:
    """A verdict in block letters with its sentence below, or small where there is no room."""
    text = Text()
    tall = 2 if height >= _TALL_FROM else 1
    widen = next((n for n in range(2 * tall, 0, -1) if width_of(word, n) <= width), 0)
    if can_draw(word) and widen and height >= ROWS * tall + 3:
        for line in draw(word, widen, tall):
            text.append(line + "\n", style=style)
        text.append("\n")
    return text.append_text(below)
