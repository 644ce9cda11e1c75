"""What a column is for, told by its heading: words of the trade, and units in brackets or behind."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from benchcheck.harness.intake.columns import TABLES, Kind
from benchcheck.harness.intake.quantities import unit_named
from benchcheck.harness.intake.roles import meaning

_FILLER = frozenset({"no", "nr", "num", "number", "id", "the", "of", "s"})
_SIDES = {
    "from": "from, near end, near side, near, end a, a end, side a, a side, end 1, side 1, first end, source, origin, start, left, a, 1",
    "to": "to, far end, far side, far, end b, b end, side b, b side, end 2, side 2, second end, destination, dest, target, finish, right, b, 2",
}  # fmt: skip
_ALONE_TOO_SHORT = frozenset({"a", "b", "1", "2", "left", "right"})  # a side only beside the name of a part
_CONNECTORS = ("connector", "conn", "con", "plug", "reference designator", "ref des", "ref", "designator", "reference", "block", "item", "device", "equipment", "location")  # fmt: skip
_CONTACTS = ("contact", "pin", "terminal", "term", "cavity", "position", "pos", "socket", "hole", "way", "cont")
_WHOLE = ("connector contact", "connector pin", "conn pin", "plug pin", "point", "termination")


@dataclass(frozen=True, slots=True)
class Guess:
    """One thing that a heading may mean. Of two columns for one target the lower rank has it."""

    target: str
    rank: int
    unit: str = ""
    if_cells_agree: bool = False


def guesses(table: str, heading: str) -> list[Guess]:
    """What a column under `heading` may be, the surest first."""
    spellings, unit_word = _spellings(table, heading)
    found = [*_ends(spellings)] if table == "runs" else []
    for target, (phrases, kind) in _phrases(table).items():
        unit = unit_named(target, unit_word) if kind is Kind.QUANTITY else ""
        for rank, (phrase, doubtful) in enumerate(phrases):
            if phrase in spellings:
                found.append(Guess(target, rank + (0 if target == heading.strip() else 1), unit, doubtful))
                break
    found.sort(key=lambda guess: (guess.if_cells_agree, guess.rank))
    return found


def cells_agree(target: str, texts: Sequence[str], own: Mapping[str, str]) -> bool:
    """Whether most of the different texts in a column are known words of `target`."""
    different = {text.strip() for text in texts if text.strip()}
    return bool(different) and sum(bool(meaning(target, text, own)) for text in different) * 2 >= len(different)


def tokens(text: str) -> tuple[str, ...]:
    """The words of a heading, without case, punctuation, plural and filling words."""
    text = unicodedata.normalize("NFKC", text)
    text = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z]{3})(?=\d)", " ", text)
    words = [_single(word) for word in re.findall(r"[^\W_]+", text.casefold())]
    kept = tuple(word for word in words if word not in _FILLER)
    return kept or tuple(words)


def _single(word: str) -> str:
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


def _spellings(table: str, heading: str) -> tuple[list[tuple[str, ...]], str]:
    """The words of a heading, whole and without what stands in brackets; and the word that names its unit.

    A unit stands in brackets, behind a stroke or `in`, or is the last word.
    """
    text = unicodedata.normalize("NFKC", heading).strip()
    spellings = [tokens(text)]
    bracket = re.search(r"[(\[{]\s*([^()\[\]{}]*?)\s*[)\]}]\s*\Z", text)
    if bracket:
        spellings.append(tokens(text[: bracket.start()]))
        word = bracket[1].removeprefix("in ").strip()
        return spellings, word if _is_unit(table, word) else ""
    last = re.search(r"(?:\s+in\s+|[\s/_,.:]+)([^\s/_,.:]+)\Z", text)
    if last and _is_unit(table, last[1]):
        return [tokens(text[: last.start()]), *spellings], last[1]
    return spellings, ""


def _is_unit(table: str, word: str) -> bool:
    return any(unit_named(column.name, word) for column in TABLES[table] if column.kind is Kind.QUANTITY)


@cache
def _phrases(table: str) -> dict[str, tuple[tuple[tuple[tuple[str, ...], bool], ...], Kind]]:
    found = {}
    for column in TABLES[table]:
        sure, _, doubtful = column.phrases.partition("|")
        phrases = [(tokens(column.name), False)] if column.phrases else []
        phrases += [(tokens(phrase), False) for phrase in sure.split(",") if phrase.strip()]
        phrases += [(tokens(phrase), True) for phrase in doubtful.split(",") if phrase.strip()]
        found[column.name] = (tuple(phrases), column.kind)
    return found


@cache
def _sides() -> tuple[tuple[str, tuple[str, ...]], ...]:
    pairs = [(side, tokens(phrase)) for side, text in _SIDES.items() for phrase in text.split(",")]
    return tuple(sorted(pairs, key=lambda pair: -len(pair[1])))


def _ends(spellings: Sequence[tuple[str, ...]]) -> Iterator[Guess]:
    """`from connector`, `pin B`, `far end` and the like."""
    for words in spellings:
        for side, phrase in _sides():
            size = len(phrase)
            before, after = words[:size] == phrase, words[-size:] == phrase
            rest = words[size:] if before else words[:-size]
            if not (before or after) or (not rest and phrase[0] in _ALONE_TOO_SHORT):
                continue
            said = " ".join(rest)
            if not rest or said in _WHOLE:
                yield Guess(side, len(said))
            elif said in _CONNECTORS:
                yield Guess(f"{side}.connector", _CONNECTORS.index(said))
            elif said in _CONTACTS:
                yield Guess(f"{side}.contact", _CONTACTS.index(said))
            else:
                continue
            return
