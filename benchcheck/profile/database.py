"""Load a message database with cantools, in any form that it reads."""

from __future__ import annotations

import logging
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from benchcheck.harness.reading.read_tables import Database, DatabaseMessage
from benchcheck.words.errors import FileFault, Place
from benchcheck.words.signal import Field, Selector, Signal

# as cantools and the parsers below it say it
_AT = re.compile(r"(?:at |on )?line:? (\d+)(?:, column:? (\d+))?", re.IGNORECASE)


def load_database(file: str, path: Path) -> Database | FileFault:
    """The messages of the database in `path`, or the fault why there are none.

    First strictly; where that fails, once more with cantools' lenient reading, which a note says.
    """
    import cantools  # costs a tenth of a second: only where there is a database

    log = logging.getLogger("cantools")
    level = log.level
    log.setLevel(logging.CRITICAL)  # what it would log, the fault or note says
    try:
        notes: tuple[str, ...] = ()
        try:
            loaded: Any = cantools.database.load_file(path)
        except Exception as strict_error:
            try:
                loaded = cantools.database.load_file(path, strict=False)
            except Exception as error:
                return _fault(file, error)
            notes = (f"{file}: read leniently, because strictly it has a fault: {_short(strict_error)}",)
        if not hasattr(loaded, "messages"):
            return FileFault(Place(file), "describes no CAN messages", "A CAN message database is wanted.")
        return Database(tuple(_message(message) for message in loaded.messages), notes)
    finally:
        log.setLevel(level)


def _message(message: Any) -> DatabaseMessage:
    period_ms = message.cycle_time
    return DatabaseMessage(
        can_id=int(message.frame_id),
        extended=bool(message.is_extended_frame),
        name=str(message.name),
        senders=tuple(str(sender) for sender in message.senders or ()),
        period_s=period_ms / 1000 if period_ms else None,
        length=int(message.length),
        signals=signals_of(message),
    )


def signals_of(message: Any) -> tuple[Signal, ...]:
    """The signals of a cantools message as plain descriptions; none of a container, which has messages in it.

    One that has no plain description (a float of an odd width, a multiplexer that isn't told) is left out.
    """
    if getattr(message, "is_container", False):
        return ()
    by_name = {str(signal.name): signal for signal in message.signals}
    found = []
    for signal in message.signals:
        field, when = _field(signal), _when(signal, by_name)
        if field is not None and when is not None:
            found.append(
                Signal(
                    name=str(signal.name),
                    field=field,
                    factor=float(signal.scale),
                    offset=float(signal.offset),
                    unit=str(signal.unit or ""),
                    when=when,
                )
            )
    return tuple(found)


def _field(signal: Any) -> Field | None:
    try:
        return Field(
            start_bit=int(signal.start),
            length_bits=int(signal.length),
            little_endian=signal.byte_order == "little_endian",
            signed=bool(signal.is_signed),
            is_float=bool(signal.is_float),
        )
    except ValueError:
        return None


def _when(signal: Any, by_name: Mapping[str, Any]) -> tuple[Selector, ...] | None:
    """The multiplexers above a signal, the outermost first; None where one is not told."""
    found: list[Selector] = []
    while signal.multiplexer_ids is not None:
        above = by_name.get(str(signal.multiplexer_signal))
        field = None if above is None else _field(above)
        if field is None or field.is_float or len(found) > len(by_name):
            return None
        found.insert(0, Selector(field, tuple(int(number) for number in signal.multiplexer_ids)))
        signal = above
    return tuple(found)


def _fault(file: str, error: Exception) -> FileFault:
    text = _short(error)
    at = _AT.search(text)
    place = Place(file, int(at[1]), int(at[2]) if at[2] else 1) if at else Place(file)
    hint = "Correct that place, or export the database again; the rest of the profile is checked all the same."
    return FileFault(place, f"can't be read as a message database: {text}", hint)


def _short(error: Exception) -> str:
    """What went wrong, in one line; of an answer for each format, the one of the file's own format."""
    text = str(error)
    suffixed = re.search(r'[A-Z]+: "(.*?)"(?:, [A-Z]+: "|\Z)', text, re.DOTALL)
    text = " ".join((suffixed[1] if suffixed else text or type(error).__name__).split())
    return "".join(char for char in text if char.isprintable())[:300].rstrip(".")
