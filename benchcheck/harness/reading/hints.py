"""Words for faults: how foreign text is shown, and which known name was probably meant."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from difflib import get_close_matches

LONGEST_SHOWN = 60
# a name longer than this is no misspelling of a known one, and comparing would be slow
LONGEST_COMPARED = 80
# unseen or line-moving characters: control, format (direction marks, zero width), surrogate, separators
_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp", "Co", "Cn"})


def unseen(text: str) -> str:
    """The first character of `text` that can't be seen or moves the cursor, empty where there is none."""
    if text.isascii() and text.isprintable():
        return ""
    return next((char for char in text if unicodedata.category(char) in _UNSEEN), "")


def printable(text: str) -> str:
    """The text with everything escaped that isn't plainly seen (odd blanks too), fit for a terminal."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode("ascii") for char in text)


def shown(text: object) -> str:
    """Foreign text in quotes, fit for a terminal: unseen characters escaped, long text cut."""
    whole = str(text)
    cut = whole[:LONGEST_SHOWN]
    return f"'{printable(cut)}{'…' if len(whole) > LONGEST_SHOWN else ''}'"


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name that `name` was probably meant to be, or nothing. Upper and lower case count as near."""
    if not name or len(name) > LONGEST_COMPARED:
        return ""
    names = list(known)
    folded = name.casefold()
    for candidate in names:
        if candidate.casefold() == folded:
            return candidate
    near = get_close_matches(name, names, n=1, cutoff=0.6)
    return near[0] if near else ""


def did_you_mean(name: str, known: Iterable[str], *, what: str = "", most: int = 12) -> str:
    """A hint: the nearest known name, else the known names where they are few."""
    names = list(known)
    near = nearest(name, names)
    if near:
        return f"Did you mean '{near}'?"
    if names and len(names) <= most:
        return f"{what or 'Known'}: {', '.join(names)}."
    return ""


class Guesses:
    """`did_you_mean` among the same names again and again: each wrong name is looked up once, and not endlessly many."""

    MOST = 300

    def __init__(self, known: Iterable[str], *, what: str = "") -> None:
        self._known = tuple(known)
        self._what = what
        self._found: dict[str, str] = {}

    def hint(self, name: str) -> str:
        if name not in self._found:
            if len(self._found) >= self.MOST:
                return ""
            self._found[name] = did_you_mean(name, self._known, what=self._what)
        return self._found[name]


def span(names: Iterable[str]) -> str:
    """Contact names in short: `1 to 25`, or the names with commas where they are no plain count."""
    listed = list(names)
    if len(listed) > 3 and listed == [str(number) for number in range(1, len(listed) + 1)]:
        return f"1 to {len(listed)}"
    if len(listed) > 60:
        return f"{', '.join(listed[:60])} and {len(listed) - 60} more"
    return ", ".join(listed)
