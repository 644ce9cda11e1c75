"""Tables written to a file: CSV, XLSX, ODS. Cells are texts, so that a spreadsheet changes none of them."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from benchcheck.harness.intake.outward import OutColumn, OutSheet
from benchcheck.profile.whole_files import write_files
from benchcheck.words.errors import UsageError

FORMS = (".csv", ".xlsx", ".ods")
_ODS_KIND = "application/vnd.oasis.opendocument.spreadsheet"


def sheet_bytes(path: Path, sheets: Sequence[OutSheet], *, separator: str = ",") -> bytes:
    """The content of a file named `path`, by its suffix. A CSV holds the first sheet alone. UsageError for another one."""
    match path.suffix.lower():
        case ".csv":
            return _csv(sheets[0], separator or ",").encode("utf-8-sig")
        case ".xlsx":
            return _xlsx(sheets)
        case ".ods":
            return _ods(sheets)
    hint = f"A name that ends in {' or '.join(FORMS)} says what to write."
    raise UsageError(f"'{path.suffix}' is no kind of table", where=str(path), hint=hint)


def _csv(sheet: OutSheet, separator: str) -> str:
    import csv

    sink = io.StringIO()
    writer = csv.writer(sink, delimiter=separator, lineterminator="\r\n")
    writer.writerow([column.heading for column in sheet.columns])
    writer.writerows(sheet.rows)
    return sink.getvalue()


def is_number(text: str) -> bool:
    """Whether a text is just how a number is written, so that it can be stored as one and come back the same."""
    try:
        number = float(text)
    except ValueError:
        return False
    if text.lstrip("-").startswith("0") and not text.lstrip("-").startswith("0.") and text != "0":
        return False
    from benchcheck.harness.intake.sheet import number_text

    return abs(number) < 1e15 and number_text(number) == text


def _xlsx(sheets: Sequence[OutSheet]) -> bytes:
    import xlsxwriter

    sink = io.BytesIO()
    # texts that look like formulas or addresses stay texts
    book: Any = xlsxwriter.Workbook(
        sink,
        {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False},
    )
    text, head = (
        book.add_format({"num_format": "@"}),
        book.add_format({"bold": True, "num_format": "@", "text_wrap": True}),
    )
    number = book.add_format({"num_format": "General"})
    for sheet in sheets:
        page = book.add_worksheet(_sheet_name(sheet.name))
        page.freeze_panes(1, 0)
        for column, entry in enumerate(sheet.columns):
            page.set_column(column, column, entry.wide, number if entry.number else text)
            page.write_string(0, column, entry.heading, head)
            if entry.help:
                page.write_comment(0, column, entry.help, {"x_scale": 2})
            if entry.choices:
                page.data_validation(1, column, 2000, column, _choices(entry))
        for row, cells in enumerate(sheet.rows, 1):
            for column, cell in enumerate(cells):
                if not cell:
                    continue
                if sheet.columns[column].number and is_number(cell):
                    page.write_number(row, column, float(cell), number)
                else:
                    page.write_string(row, column, cell, text)
    book.close()
    return sink.getvalue()


def _choices(entry: OutColumn) -> dict[str, object]:
    return {
        "validate": "list",
        "source": list(entry.choices),
        "error_title": entry.heading,
        "error_message": f"One of: {', '.join(entry.choices)}"[:250],
    }


def _sheet_name(name: str) -> str:
    return "".join(" " if sign in "[]:*?/\\" else sign for sign in name).strip("' ")[:31] or "Runs"


def _ods(sheets: Sequence[OutSheet]) -> bytes:
    """OpenDocument 1.3 (OASIS): the least that a spreadsheet program opens, text cells in a text style."""
    pieces = [_ODS_HEAD]
    for sheet in sheets:
        pieces.append(f"<table:table table:name={quoteattr(_sheet_name(sheet.name))}>")
        pieces.append(
            f'<table:table-column table:number-columns-repeated="{max(len(sheet.columns), 1)}" table:default-cell-style-name="text"/>'
        )
        pieces.append(_ods_row([column.heading for column in sheet.columns], ()))
        pieces += [_ods_row(row, sheet.columns) for row in sheet.rows]
        pieces.append("</table:table>")
    pieces.append("</office:spreadsheet></office:body></office:document-content>")
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as archive:
        # the kind stands first and unpacked, so that it can be told from the first bytes
        archive.writestr(zipfile.ZipInfo("mimetype", (1980, 1, 1, 0, 0, 0)), _ODS_KIND, zipfile.ZIP_STORED)
        for name, text in (("content.xml", "".join(pieces)), ("META-INF/manifest.xml", _ODS_MANIFEST)):
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            archive.writestr(entry, text.encode("utf-8"), zipfile.ZIP_DEFLATED)
    return sink.getvalue()


def _ods_row(cells: Sequence[str], columns: Sequence[OutColumn]) -> str:
    written = []
    for index, cell in enumerate(cells):
        if not cell:
            written.append("<table:table-cell/>")
        elif columns and columns[index].number and is_number(cell):
            value = f'office:value-type="float" office:value="{cell}"'
            written.append(
                f'<table:table-cell {value} table:style-name="plain"><text:p>{cell}</text:p></table:table-cell>'
            )
        else:
            lines = "".join(f"<text:p>{_ods_text(line)}</text:p>" for line in cell.split("\n"))
            written.append(f'<table:table-cell office:value-type="string">{lines}</table:table-cell>')
    return f"<table:table-row>{''.join(written)}</table:table-row>"


def _ods_text(line: str) -> str:
    """A line of a cell; each blank and tab has an element of its own, because plain ones run together."""
    kept = "".join(sign for sign in line if sign >= " " or sign == "\t")
    return re.sub(r"\A | \Z|(?<= ) ", "<text:s/>", escape(kept)).replace("\t", "<text:tab/>")


_ODS_SPACES = " ".join(
    f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{long}:1.0"'
    for short, long in (
        ("office", "office"),
        ("table", "table"),
        ("text", "text"),
        ("style", "style"),
        ("number", "datastyle"),
    )
)
_ODS_HEAD = (
    f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {_ODS_SPACES} office:version="1.3">'
    '<office:automatic-styles><number:text-style style:name="as-text"><number:text-content/></number:text-style>'
    '<style:style style:name="text" style:family="table-cell" style:data-style-name="as-text"/>'
    '<style:style style:name="plain" style:family="table-cell"/></office:automatic-styles>'
    "<office:body><office:spreadsheet>"
)
_ODS_MANIFEST = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3">'
    f'<manifest:file-entry manifest:full-path="/" manifest:version="1.3" manifest:media-type="{_ODS_KIND}"/>'
    '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
)


def write_table(path: Path, data: bytes, *, replace: bool) -> None:
    """Write a table whole. UsageError where the file is there and `replace` wasn't said, SetupError where it can't be."""
    if path.exists() and not replace:
        raise UsageError("there is such a file already", where=str(path), hint="Replace it with --replace.")
    write_files({path: data})
