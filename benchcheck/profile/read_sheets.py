"""The sheets of a table in a file: CSV of any separator and encoding, XLSX, ODS."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

from benchcheck.harness.intake.csv_sheet import csv_sheet
from benchcheck.harness.intake.sheet import Sheet
from benchcheck.harness.reading.file_text import LARGEST_BYTES, decode
from benchcheck.harness.reading.hints import printable, shown
from benchcheck.profile.zip_parts import TooMuch
from benchcheck.words.errors import FaultyFiles, FileFault, InputError

_OLD = b"\xd0\xcf\x11\xe0"
_SAVE_AS = "Save it as XLSX, ODS or CSV and import that."
_ODS_KIND = b"application/vnd.oasis.opendocument.spreadsheet"


def read_sheets(
    path: Path, score: Callable[[Sheet], float], *, separator: str | None = None
) -> tuple[list[Sheet], list[FileFault], list[str]]:
    """The sheets in a file, the faults of a text file's rows, and what had to be guessed (an encoding), in words.

    The file's first bytes say what it is, not its name. Raises InputError or FaultyFiles where it is none of them.

    score      how well a sheet's headings are known, for the choice of a text file's separator
    separator  the one to take, where it is known
    """
    data = read_bytes(path)
    if data.startswith(b"PK"):
        return _workbook(path, data), [], []
    if data.startswith(_OLD):
        what = "is an old workbook, or one with a password"
        raise InputError(what, where=str(path), hint=f"{_SAVE_AS} Without a password.")
    if path.suffix.lower() in (".xlsx", ".ods", ".xlsm"):
        hint = f"Open it in a spreadsheet program and save it anew. {_SAVE_AS}"
        raise InputError(f"is no {path.suffix[1:].upper()} workbook", where=str(path), hint=hint)
    text, faults, notes = decode(path.name, data, lenient=True)
    if text is None:
        raise FaultyFiles(str(path), [FileFault(fault.place, fault.text, _SAVE_AS) for fault in faults])
    if not text.strip():
        raise InputError("is empty", where=str(path), hint="Is this the right file?")
    sheet, wrong = csv_sheet(path.name, text, score, separator=separator)
    return [sheet], wrong, notes


def read_bytes(path: Path) -> bytes:
    """A whole file, up to the largest that is read. InputError says why there is none."""
    hint = "Check its name, and that it may be read."
    try:
        if path.exists() and not path.is_file():
            raise InputError("is no plain file", where=str(path), hint="Name the table itself.")
        with path.open("rb") as source:
            data = source.read(LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise InputError("there is no such file", where=str(path), hint=hint) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"can't be opened: {reason}", where=str(path), hint=hint) from error
    if len(data) > LARGEST_BYTES:
        what = f"is larger than {LARGEST_BYTES // 1_000_000} MB"
        raise InputError(what, where=str(path), hint="Is this the right file? Leave out what is no table.")
    return data


def _workbook(path: Path, data: bytes) -> list[Sheet]:
    from benchcheck.profile.ods_reader import read_ods
    from benchcheck.profile.xlsx_reader import read_xlsx

    hint = f"Open it in a spreadsheet program and save it anew. {_SAVE_AS}"
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            if "mimetype" in names and archive.open("mimetype").read(len(_ODS_KIND)) == _ODS_KIND:
                return read_ods(path.name, archive)
            if "[Content_Types].xml" in names:
                return read_xlsx(path.name, archive)
    except TooMuch as error:
        raise InputError(printable(str(error)), where=str(path), hint="Leave out what is no table.") from error
    except (
        zipfile.BadZipFile,
        zlib.error,
        ElementTree.ParseError,
        EOFError,
        OSError,
        ValueError,
        LookupError,
        NotImplementedError,
        RuntimeError,
        OverflowError,
        RecursionError,
        MemoryError,
    ) as error:
        reason = printable(str(error))[:200] or type(error).__name__
        raise InputError(f"is a broken workbook: {reason}", where=str(path), hint=hint) from error
    raise InputError("is an archive, and no XLSX or ODS workbook", where=str(path), hint=_SAVE_AS)


def choose_sheet(
    sheets: list[Sheet], name: str | None, score: Callable[[Sheet], float], where: str
) -> tuple[Sheet, str]:
    """The sheet of that name, else the one whose headings are known best; and what to say of the choice."""
    names = ", ".join(shown(sheet.name) for sheet in sheets)
    if name is not None:
        for sheet in sheets:
            if sheet.name.strip().casefold() == name.strip().casefold():
                return sheet, ""
        raise InputError(f"has no sheet {shown(name)}", where=where, hint=f"Sheets: {names}." if names else "")
    if not sheets:
        raise InputError("has no sheets", where=where, hint=_SAVE_AS)
    best = max(sheets, key=lambda sheet: (score(sheet), not sheet.hidden))
    others = [sheet for sheet in sheets if sheet is not best and sheet.rows]
    if not others:
        return best, ""
    hidden = ", which is hidden" if best.hidden else ""
    return best, f"sheet {shown(best.name)}{hidden} of {names} taken; another: --sheet NAME"
