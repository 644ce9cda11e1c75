"""Load a message database with cantools, in any form that it reads."""

from __future__ import annotations

import logging
import re
from pathlib import Path
from typing import Any

from benchcheck.harness.reading.read_tables import Database, DatabaseMessage
from benchcheck.words.errors import FileFault, Place

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
    )


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
