"""The text protocols of harness.toml, with what can't be held against a line refused in words."""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.harness.line_pattern import BadPattern, line_pattern
from benchcheck.harness.line_protocol import CHECK_INPUT, Checksum, ChecksumKind, Crc16, TextProtocol
from benchcheck.harness.reading.forms import LinkForm, ProtocolForm
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.harness.reading.read_tables import Tables, check_unique
from benchcheck.harness.reading.toml_text import Path

BUILT_IN = ("nmea0183", "text")
_CRC_KEYS = ("polynomial", "initial", "reflected", "final_xor", "check")


def read_protocols(tables: Tables, forms: Sequence[tuple[Path, ProtocolForm]]) -> tuple[TextProtocol, ...]:
    """The protocols that lines can be held against; a fault for each thing that is wrong in the others."""
    check_unique(tables.doc, "protocol", [((*path, "name"), form.name) for path, form in forms], tables.faults)
    found = []
    for path, form in forms:
        before = len(tables.faults)
        if form.name in BUILT_IN:
            tables.fault((*path, "name"), f"name: {shown(form.name)} is built in", "Give it a name of your own.")
        delimiter = _bytes(tables, (*path, "delimiter"), form.delimiter)
        _check_delimiter(tables, (*path, "delimiter"), delimiter)
        try:
            line_pattern(form.pattern)
        except BadPattern as bad:
            tables.fault((*path, "pattern"), f"pattern: {bad.text}", bad.hint)
        checksum = _checksum(tables, path, form, delimiter)
        if len(tables.faults) == before:
            place = tables.doc.place((*path, "name"))
            found.append(TextProtocol(form.name, delimiter, form.pattern, checksum, place))
    return tuple(found)


def check_protocol(tables: Tables, path: Path, form: LinkForm, names: Sequence[str]) -> None:
    """The protocol of a link is one that is built in or described."""
    known = (*BUILT_IN, *names)
    if form.protocol not in known:
        text = f"protocol: {shown(form.protocol)} is neither built in nor in [[protocols]]"
        tables.fault((*path, "protocol"), text, did_you_mean(form.protocol, known, what="Protocols"))


def _bytes(tables: Tables, path: Path, text: str) -> bytes:
    try:
        return text.encode("latin-1")
    except UnicodeEncodeError as error:
        bad = text[error.start]
        tables.fault(path, f"{path[-1]}: U+{ord(bad):04X} is no single byte", "Write characters up to U+00FF.")
        return b""


def _check_delimiter(tables: Tables, path: Path, delimiter: bytes) -> None:
    # one that can begin within itself ("\n\n") would part a line here or there, as the bytes happen to come
    if len(set(delimiter)) != len(delimiter):
        tables.fault(path, "delimiter: has the same character twice", "Name the last of them alone.")
    if not delimiter and not any(fault.place == tables.doc.place(path) for fault in tables.faults):
        tables.fault(path, "delimiter: is empty", 'Write what ends a line: "\\r\\n".')


def _checksum(tables: Tables, path: Path, form: ProtocolForm, delimiter: bytes) -> Checksum:
    kind = ChecksumKind(form.checksum)
    after = _bytes(tables, (*path, "checksum_after"), form.checksum_after)
    begin = _bytes(tables, (*path, "sum_from"), form.sum_from)
    for key, value in (("checksum_after", after), ("sum_from", begin)):
        if value and kind is ChecksumKind.NONE:
            tables.fault((*path, key), f"{key}: there is no checksum", "Give checksum, or leave this out.")
        if delimiter and delimiter in value:
            tables.fault((*path, key), f"{key}: holds the delimiter", "A line ends there.")
    if kind is ChecksumKind.CRC16:
        return Checksum(kind, after, begin, _crc(tables, path, form))
    for key in _CRC_KEYS:
        if key in form.model_fields_set:
            tables.fault((*path, key), f'{key}: goes with checksum = "crc16" only', "Leave it out.")
    return Checksum(kind, after, begin)


def _crc(tables: Tables, path: Path, form: ProtocolForm) -> Crc16 | None:
    if form.polynomial is None:
        tables.fault(
            path, "checksum: crc16 without its polynomial", "Write polynomial = 0x1021, and the rest as published."
        )
        return None
    crc = Crc16(form.polynomial, form.initial, form.reflected, form.final_xor)
    if form.check is None:
        hint = "Write check = 0x29B1, as published for it: the check of the characters 123456789."
        tables.fault(path, "checksum: crc16 without its published check value", hint)
    elif (value := crc.of(CHECK_INPUT)) != form.check:
        text = f"check: what is described here gives 0x{value:04X} for 123456789, not 0x{form.check:04X}"
        tables.fault((*path, "check"), text, "Correct polynomial, initial, reflected or final_xor.")
    return crc
