"""Where the headings of a table stand: the row whose texts are known best, one row or two."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from benchcheck.harness.intake.headings import guesses
from benchcheck.harness.intake.mapping import TableMapping
from benchcheck.harness.intake.sheet import Row, Sheet, cell_text
from benchcheck.harness.reading.hints import shown
from benchcheck.words.errors import FileFault, Place

_LOOKED_AT = 40  # rows in which headings are looked for
_LEAST = 1.5  # headings that must be known; one that counts only where its cells bear it out is half of one


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person said about the columns, which goes before guesses and before what is remembered.

    columns   target -> heading or letter of a column; an empty one: the table has none
    """

    columns: Mapping[str, str]
    header_row: int | None = None
    length_unit: str = ""


@dataclass(frozen=True, slots=True)
class Header:
    """Headings of a table: the last of its rows, the text over each column, and of how many rows it is put together."""

    row: int
    headings: tuple[str, ...]
    rows: int = 1


def headings_known(kind: str, sheet: Sheet, wanted: Collection[str] = ()) -> float:
    """How many headings of the best row are known: by it sheets and separators are chosen.

    wanted  headings that are looked for by name
    """
    return max((sum(_rank(kind, header, wanted)) for header in _candidates(sheet, None)), default=0.0)


def wanted_headings(asked: Asked, known: TableMapping | None) -> frozenset[str]:
    """The headings that the person named, and those that are remembered."""
    remembered = (column.heading for column in known.columns if column.target) if known else ()
    return frozenset(_folded(heading) for heading in (*asked.columns.values(), *remembered) if heading)


def _folded(heading: str) -> str:
    return " ".join(heading.split()).casefold()


def _rank(kind: str, header: Header, wanted: Collection[str]) -> tuple[float, float]:
    return (sum(_folded(heading) in wanted for heading in set(header.headings)), _score(kind, header.headings))


def find_header(kind: str, sheet: Sheet, asked: Asked, known: TableMapping | None) -> Header | FileFault:
    """The headings of the table; a fault where there are none to be told."""
    candidates = _candidates(sheet, asked.header_row)
    wanted = wanted_headings(asked, known)

    def rank(header: Header) -> tuple[float, float, int]:
        return (*_rank(kind, header, wanted), -header.row)

    best = max(candidates, key=rank, default=None)
    if best is None:
        return FileFault(
            Place(sheet.file), f"{_sheet(sheet)}has no rows", "Is it another sheet? Say which: --sheet NAME."
        )
    if asked.header_row is None and rank(best)[0] < 1 and rank(best)[1] < _LEAST:
        what = f"{_sheet(sheet)}no row looks like the headings of a table of {kind}"
        hint = "Say which row it is with --header-row N, and what goes where with --column wire=HEADING."
        return FileFault(Place(sheet.file, 1), what, hint)
    return best


def _sheet(sheet: Sheet) -> str:
    return f"sheet {shown(sheet.name)}: " if sheet.name else ""


def _candidates(sheet: Sheet, header_row: int | None) -> list[Header]:
    rows = [row for row in sheet.rows if header_row in (None, row.number)][:_LOOKED_AT]
    by_number = {row.number: row for row in sheet.rows[: _LOOKED_AT if header_row is None else None]}
    found = []
    for row in rows:
        headings = _texts(row, sheet.width)
        if not any(headings):
            continue
        found.append(Header(row.number, headings))
        above = by_number.get(row.number - 1)
        if above is not None and any(_texts(above, sheet.width)):
            found.append(Header(row.number, _joined(_texts(above, sheet.width), headings), 2))
    return found


def _texts(row: Row, width: int) -> tuple[str, ...]:
    return tuple(" ".join(cell_text(row.cell(column)).split()) for column in range(width))


def _joined(above: Sequence[str], below: Sequence[str]) -> tuple[str, ...]:
    """Headings in two rows, the upper one over several columns: `From` over `Conn` and `Pin`."""
    found, over = [], ""
    for upper, lower in zip(above, below, strict=True):
        over = upper or over
        found.append(f"{over} {lower}".strip() if lower else upper)
    return tuple(found)


def _score(kind: str, headings: Sequence[str]) -> float:
    targets: dict[str, float] = {}
    for heading in headings:
        for guess in guesses(kind, heading)[:1] if 0 < len(heading) < 60 else ():
            targets.setdefault(guess.target, 0.5 if guess.if_cells_agree else 1.0)
    return sum(targets.values())
