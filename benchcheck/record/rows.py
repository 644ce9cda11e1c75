"""Reading a job file as it lies there, damaged or not, without ever changing it.

Uses SQLite directly and opens read-only. A file that needs repair before it can be read (a write was cut off) is
copied and the copy is repaired, so that the evidence stays as it is.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import cast
from urllib.request import pathname2url

from benchcheck.record.schema import APPLICATION_ID, COLUMNS
from benchcheck.words.errors import RecordError
from benchcheck.words.event import Event

Row = tuple[object, ...]

_PORTION = 2000
_WAIT_S = 5.0  # how long a reader waits for the writer's commit (well under a millisecond on most disks)


@contextlib.contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A read-only connection to a job record. Raises RecordError, in words, when `path` is none."""
    if not path.is_file():
        raise RecordError(
            "there is no job record", where=str(path), hint="`benchcheck job list` shows those of a folder."
        )
    with contextlib.ExitStack() as stack:
        try:
            connection = _connect(path, stack)
        except sqlite3.Error as error:
            raise _refused(path, error) from error
        except OSError as error:
            raise RecordError(f"can't be read: {error.strerror or error}", where=str(path)) from error
        yield connection


def _connect(path: Path, stack: contextlib.ExitStack) -> sqlite3.Connection:
    if not os.access(path, os.R_OK):
        raise PermissionError(13, "no permission to read it")
    journal = path.with_name(path.name + "-journal")
    connection = _open(path, "ro", stack)
    try:
        _check_identity(path, connection)
    except sqlite3.DatabaseError:
        if not journal.exists():
            raise
        # A write was cut off here. Let SQLite undo it in a copy.
        folder = Path(
            stack.enter_context(tempfile.TemporaryDirectory(prefix="benchcheck-", ignore_cleanup_errors=True))
        )
        for source in (path, journal):
            shutil.copyfile(source, folder / source.name)
        connection = _open(folder / path.name, "rw", stack)
        _check_identity(path, connection)
    return connection


def _open(path: Path, mode: str, stack: contextlib.ExitStack) -> sqlite3.Connection:
    uri = f"file:{pathname2url(str(path.absolute()))}?mode={mode}"
    connection = sqlite3.connect(uri, uri=True, timeout=_WAIT_S, isolation_level=None)
    stack.callback(connection.close)
    connection.text_factory = bytes  # so that spoiled text is our finding and not an exception
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def _check_identity(path: Path, connection: sqlite3.Connection) -> None:
    (application_id,) = connection.execute("PRAGMA application_id").fetchone()
    tables = {bytes(name) for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if application_id != APPLICATION_ID or not {b"events", b"meta"} <= tables:
        raise RecordError("this is not a job record", where=str(path))


def _refused(path: Path, error: sqlite3.Error) -> RecordError:
    if "not a database" in str(error):
        return RecordError("this is not a job record", where=str(path))
    if "locked" in str(error) or "busy" in str(error):
        return RecordError("another program keeps the job locked", where=str(path), hint="Try again when it is done.")
    return RecordError(f"the job record is damaged: {error}", where=str(path), hint="Go back to a copy of it.")


def meta_of(connection: sqlite3.Connection) -> dict[str, str]:
    """The words about the file: schema, created, chain."""
    found = connection.execute("SELECT key, value FROM meta").fetchall()
    return {_text(key): _text(value) for key, value in found}


def rows_of(connection: sqlite3.Connection) -> Iterator[Row]:
    """Every event as it is stored (text as bytes), in the order of writing. Raises sqlite3.Error at damage.

    In portions, so that a long reading never holds up who is writing.
    """
    query = f"SELECT rowid, {', '.join(COLUMNS)} FROM events WHERE rowid > ? ORDER BY rowid LIMIT {_PORTION}"
    last = -(2**63)
    while True:
        portion: list[Row] = []
        damage: sqlite3.Error | None = None
        try:
            for row in connection.execute(query, (last,)):
                portion.append(row)
        except sqlite3.Error as error:
            damage = error
        for row in portion:
            yield row[1:]
        if damage is not None:
            raise damage
        if not portion:
            return
        last = cast(int, portion[-1][0])


def read_events(path: Path) -> list[Event]:
    """Every event of a job. Raises RecordError for a damaged one, which `read_until_damage` still reads in part."""
    events, damage = read_until_damage(path)
    if damage:
        raise RecordError(damage, where=str(path), hint="`benchcheck job verify` says what is still good.")
    return events


def read_until_damage(path: Path) -> tuple[list[Event], str]:
    """The events up to the first place that can't be read, and what is wrong there (empty: nothing).

    Says nothing about altered events: that is what verifying is for.
    """
    events: list[Event] = []
    with reading(path) as connection:
        try:
            for row in rows_of(connection):
                event = event_of(row)
                if isinstance(event, str):
                    return events, f"the job record is damaged after event {len(events)}: {event}"
                events.append(event)
        except sqlite3.Error as error:
            return events, f"the job record is damaged after event {len(events)}: {error}"
    return events, ""


def event_of(row: Row) -> Event | str:
    """A stored row as an event, or what is wrong with its form."""
    named = dict(zip(COLUMNS, row, strict=True))
    numbers: dict[str, int] = {}
    texts: dict[str, str] = {}
    for name, value in named.items():
        if name in ("seq", "mono_ns"):
            if not isinstance(value, int):
                return f"{name} is not a whole number"
            numbers[name] = value
        elif isinstance(value, bytes):
            # text and blobs both arrive as bytes here; a blob with the same bytes hashes the same and says the same
            try:
                texts[name] = value.decode("utf-8")
            except UnicodeDecodeError:
                return f"{name} is not readable text"
        else:
            return f"{name} is not text"
    try:
        body = json.loads(texts["body"], parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        return "its body is not JSON"
    if not isinstance(body, dict):
        return "its body is not a JSON object"
    return Event(
        seq=numbers["seq"],
        chain=texts["chain"],
        kind=texts["kind"],
        who=texts["who"],
        at_utc=texts["at_utc"],
        mono_ns=numbers["mono_ns"],
        boot_id=texts["boot_id"],
        profile=texts["profile"],
        body=body,
        prev=texts["prev"],
        hash=texts["hash"],
    )


def _refuse_constant(name: str) -> object:
    raise ValueError(name)


def _text(value: object) -> str:
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
