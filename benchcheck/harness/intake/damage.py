"""What spreadsheets do to a table: contacts become dates, noughts get lost, names become numbers.

A cell whose content is still certain is mended, and that is said; any other is a fault that says what it probably was.
With `mend`, the probable content is taken where there is just one. Which damage occurs: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from benchcheck.harness.intake.sheet import MOST_DIGITS, Cell, DateCell, ErrorCell, cell_text
from benchcheck.harness.reading.hints import shown

_ERRORS = re.compile(r"#(?:REF!|N/A|VALUE!|NAME\?|DIV/0!|NULL!|NUM!|SPILL!|CALC!)\Z", re.I)
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_OTHER_MONTHS = {"mrz": 3, "mär": 3, "mai": 5, "okt": 10, "dez": 12, "fév": 2, "avr": 4, "aoû": 8, "déc": 12}
_MONTH = r"([A-Za-zäéû]{3})[a-zäéû]*\.?"
_DAY_MONTH = re.compile(rf"(\d{{1,2}})[-. /]{{1,2}}{_MONTH}(?:[- /]\d{{2,4}})?\Z")
_MONTH_DAY = re.compile(rf"{_MONTH}[- /](\d{{1,2}})\Z")
_NUMBERS = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})(?:[ T]00:00(?::00)?)?\Z")
_ISO = re.compile(r"\d{4}-(\d{2})-(\d{2})(?:[ T]00:00(?::00)?)?\Z")
_SCIENTIFIC = re.compile(r"([-+]?\d(?:[.,]\d+)?)E\+(\d{1,3})\Z", re.I)
_TAIL_ZERO = re.compile(r"(\d+)[.,]0+\Z")
_PADDED = re.compile(r"0\d+\Z")
_MIXED = re.compile(r"(?=.*[A-Za-z])(?=.*\d)")
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe58\ufe63\uff0d"), "-")
_BLANKS = dict.fromkeys(
    map(ord, "\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"), " "
)
_NOTHING = dict.fromkeys(map(ord, "\u200b\u2060\ufeff\u00ad"), None)
_RETYPE = "Format the column as text, then type the cell again."


@dataclass(frozen=True, slots=True)
class Looked:
    """What a cell holds after it was looked at.

    text      its content; the probable one where there is a fault
    mended    what was put right without doubt, in words; empty where nothing was
    fault     what is wrong, empty where nothing is; `hint` says what to do
    certain   whether `text` is what it must have been, so that `mend` may take it
    """

    text: str
    mended: str = ""
    fault: str = ""
    hint: str = ""
    certain: bool = False


@dataclass(frozen=True, slots=True)
class NameColumn:
    """What the other cells of a column of names tell about one: how wide padded numbers are, whether names mix in."""

    padded: frozenset[int]
    mixed: bool

    @staticmethod
    def of(cells: Iterable[Cell]) -> NameColumn:
        texts = [cell.strip() for cell in cells if isinstance(cell, str) and cell.strip()]
        return NameColumn(
            frozenset(len(text) for text in texts if _PADDED.match(text)),
            2 * sum(bool(_MIXED.match(text)) for text in texts) > len(texts),
        )


def look_at_name(cell: Cell, column: NameColumn, known: Callable[[str], bool]) -> Looked:
    """A cell of names: wire numbers, references, contacts. What is `known` as it stands is not doubted."""
    if wrong := _broken(cell):
        return wrong
    if isinstance(cell, bool):
        text = cell_text(cell)
        return Looked(
            "", fault=f"is the truth value {text}", hint=f"Was it a name such as {text} or {text[0]}? {_RETYPE}"
        )
    if isinstance(cell, DateCell):
        return _date(cell.text, cell.text)
    if isinstance(cell, float):
        return _number(cell, column, known)
    text, mended = clean(cell_text(cell))
    if not text or known(text):
        return Looked(text, mended)
    if date := _date_text(text):
        return _date(text, date)
    if found := _SCIENTIFIC.match(text):
        digits, power = found[1].replace(",", "."), int(found[2])
        short = f"{digits.rstrip('0').rstrip('.') if '.' in digits else digits}E{power}"
        hint = f"Probably {short}, or a long number whose last digits are gone. {_RETYPE}"
        return Looked(short, mended, f"{shown(text)} looks like a number in scientific notation", hint)
    if (found := _TAIL_ZERO.match(text)) and not column.mixed:
        hint = f"Probably {found[1]}. {_RETYPE}"
        return Looked(found[1], mended, f"{shown(text)} looks like a number stored with decimals", hint, certain=True)
    return _noughts(text, mended, column)


def _number(cell: float, column: NameColumn, known: Callable[[str], bool]) -> Looked:
    text = cell_text(cell)
    if known(text):
        return Looked(text)
    if abs(cell) >= 10**MOST_DIGITS:
        what = f"{shown(text)} is a number of more than {MOST_DIGITS} digits, so its last ones are lost"
        return Looked(text, fault=what, hint=f"Look it up on the drawing. {_RETYPE}")
    found = re.fullmatch(r"(\d{1,3}?)(0{2,})", text)
    if found and column.mixed:
        short = f"{found[1]}E{len(found[2])}"
        what = f"{text} is a number among names"
        return Looked(short, fault=what, hint=f"Probably {short}, which a spreadsheet takes for a number. {_RETYPE}")
    return _noughts(text, "", column)


def _noughts(text: str, mended: str, column: NameColumn) -> Looked:
    if column.padded and text.isascii() and text.isdigit() and len(text) < min(column.padded):
        full = text.zfill(min(column.padded))
        others = " or ".join(text.zfill(width) for width in sorted(column.padded)[:3])
        what = f"{shown(text)} has lost its leading noughts: other cells of the column have them"
        return Looked(full, mended, what, f"Probably {others}. {_RETYPE}", certain=len(column.padded) == 1)
    return Looked(text, mended)


def look_at_text(cell: Cell, *, number: bool = False) -> Looked:
    """A cell of words, or with `number` one that should hold a number."""
    if wrong := _broken(cell):
        return wrong
    if number and isinstance(cell, DateCell):
        return _date(cell.text, cell.text, ".")
    text, mended = clean(cell_text(cell), dashes=number)
    if number and isinstance(cell, bool):
        return Looked("", fault=f"is the truth value {text}", hint="A number is wanted.")
    if number and (date := _date_text(text)) and not re.fullmatch(r"[\d.,]+", text):
        return _date(text, date, ".")
    return Looked(text, mended)


def clean(text: str, *, dashes: bool = True) -> tuple[str, str]:
    """A text without what a spreadsheet or word processor put in, and what that was."""
    if text.isascii() and "'" not in text:
        return text.strip(), ""
    found = []
    blanks = text.translate(_BLANKS).translate(_NOTHING)
    if blanks != text:
        found.append("blanks that are no plain ones")
    plain = blanks.translate(_DASHES) if dashes else blanks
    if plain != blanks:
        found.append("a dash that is no plain one")
    plain = plain.strip()
    bare = plain.strip("'").strip() if len(plain) > 1 and (plain[0] == "'" or (plain[-1] == "'" and dashes)) else plain
    if bare != plain and not re.fullmatch(r"[\d.]+'", plain):
        found.append("an apostrophe")
        plain = bare
    return plain, " and ".join(found)


def is_broken(cell: Cell) -> bool:
    return _broken(cell) is not None


def _broken(cell: Cell) -> Looked | None:
    if isinstance(cell, ErrorCell) or (isinstance(cell, str) and _ERRORS.match(cell.strip())):
        text = cell_text(cell).strip()
        if not text.startswith("#"):
            return Looked(
                "", fault=f"holds {text}", hint="Open the workbook in a spreadsheet program and save it again."
            )
        return Looked("", fault=f"holds {text}, a formula that failed", hint="Type the value itself into the cell.")
    return None


def _date(text: str, iso: str, joint: str = "-") -> Looked:
    found = _ISO.match(iso)
    if found is None:
        return Looked("", fault=f"{shown(text)} has become a date or time", hint=_RETYPE)
    month, day = int(found[1]), int(found[2])
    one, other = f"{month}{joint}{day}", f"{day}{joint}{month}"
    likely = one if one == other else f"{one} or {other}"
    what = f"{shown(text)} looks like a date that a spreadsheet made of {likely}"
    return Looked(one, fault=what, hint=f"Probably {likely}. {_RETYPE}", certain=one == other)


def _date_text(text: str) -> str:
    """ISO date of a text such as `2-Jan`, `Jan-02`, `02.01.2026`; the year stands for none. Empty where it is none."""
    if found := _DAY_MONTH.match(text):
        return _iso(_month(found[2]), int(found[1]))
    if found := _MONTH_DAY.match(text):
        return _iso(_month(found[1]), int(found[2]))
    if found := _NUMBERS.match(text):
        day, month = int(found[1]), int(found[3])
        if found[2] == "/" or month > 12:
            day, month = month, day
        return _iso(month, day) or _iso(day, month)
    return text if _ISO.match(text) else ""


def _month(word: str) -> int:
    folded = word.casefold()
    return _MONTHS.index(folded) + 1 if folded in _MONTHS else _OTHER_MONTHS.get(folded, 0)


def _iso(month: int, day: int) -> str:
    return f"2000-{month:02}-{day:02}" if 1 <= month <= 12 and 1 <= day <= 31 else ""


def doubled(headings: Sequence[str]) -> list[tuple[int, int]]:
    """Pairs of columns under the same heading."""
    first: dict[str, int] = {}
    return [
        (first[text], index) for index, text in enumerate(headings) if text and first.setdefault(text, index) != index
    ]


def at_risk(text: str) -> bool:
    """Whether a spreadsheet program that opens a text table would change this cell, or take it for a formula."""
    if text[:1] in ("=", "+", "@") or (text[:1] == "-" and not re.fullmatch(r"-[\d.]+", text)):
        return True
    short = re.fullmatch(r"(\d{1,2})[-/](\d{1,2})", text)
    as_date = bool(short) or bool(_date_text(text) and not re.fullmatch(r"\d+\.\d+", text))
    return as_date or bool(_PADDED.match(text)) or bool(re.fullmatch(r"\d+E\d+", text, re.I))
