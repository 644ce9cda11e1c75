"""The writer's connection to a job file, through SQLAlchemy Core. Errors come out in words."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import sqlalchemy as sql

from benchcheck.record.schema import APPLICATION_ID, COLUMNS, GUARDS, TABLES
from benchcheck.words.errors import RecordError, SetupError

_WAIT_S = 5.0

_EVENTS = sql.table("events", *(sql.column(name) for name in COLUMNS))
_META = sql.table("meta", sql.column("key"), sql.column("value"))


class Database:
    """One connection, kept open. Each method is one transaction, synced when it returns."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._engine = sql.create_engine(
            sql.URL.create("sqlite", database=str(path)),
            poolclass=sql.pool.NullPool,
            connect_args={"timeout": _WAIT_S, "check_same_thread": False},
        )
        sql.event.listen(self._engine, "connect", _prepare)
        sql.event.listen(self._engine, "begin", _begin)
        with self._words():
            self._connection = self._engine.connect()

    def build(self, meta: Mapping[str, str], row: Mapping[str, object]) -> None:
        """Tables, guards, the words about the file and the first event: all or nothing."""
        with self._words(), self._connection.begin():
            self._connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            for statement in (*TABLES, *GUARDS.values()):
                self._connection.exec_driver_sql(statement)
            self._connection.execute(_META.insert(), [{"key": key, "value": value} for key, value in meta.items()])
            self._connection.execute(_EVENTS.insert(), dict(row))

    def add(self, row: Mapping[str, object]) -> None:
        """Add one event and commit it."""
        with self._words(), self._connection.begin():
            self._connection.execute(_EVENTS.insert(), dict(row))

    def last(self) -> tuple[object, ...] | None:
        """The last event's row as `rows.event_of` takes it (text as bytes)."""
        query = sql.select(*_EVENTS.c).order_by(sql.desc(sql.literal_column("rowid"))).limit(1)
        with self._words(), self._connection.begin():
            row = self._connection.execute(query).first()
        if row is None:
            return None
        return tuple(value.encode("utf-8", "replace") if isinstance(value, str) else value for value in row)

    def close(self) -> None:
        self._connection.close()
        self._engine.dispose()

    @contextlib.contextmanager
    def _words(self) -> Iterator[None]:
        """SQLite's complaints as ours: what, where, what next. Whatever was begun is undone."""
        try:
            yield
        except sql.exc.DBAPIError as error:
            raise _translated(self._path, str(error.orig)) from error


def _prepare(connection: Any, record: object) -> None:
    connection.isolation_level = None  # transactions begin and end where we say
    cursor = connection.cursor()
    cursor.execute("PRAGMA trusted_schema = OFF")
    cursor.execute("PRAGMA journal_mode = DELETE")
    # EXTRA is FULL, and syncs the folder too when the journal is gone: without that a power cut could bring the
    # journal back and undo what was acknowledged (SQLite documentation, "PRAGMA synchronous").
    cursor.execute("PRAGMA synchronous = EXTRA")
    cursor.execute("PRAGMA fullfsync = ON")  # macOS: through the drive's own cache; nothing elsewhere
    cursor.close()


def _begin(connection: sql.Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


def _translated(path: Path, message: str) -> RecordError | SetupError:
    where = str(path)
    if "full" in message:
        return SetupError(
            "the disk is full: this was NOT recorded", where=where, hint="Make room on the disk, then repeat the step."
        )
    if "readonly" in message or "unable to open" in message:
        return SetupError(
            "the job can't be written: this was NOT recorded",
            where=where,
            hint="Make the file and its folder writable, then repeat the step.",
        )
    if "locked" in message or "busy" in message:
        return SetupError(
            "another program keeps the job locked: this was NOT recorded",
            where=where,
            hint="Close what is reading it, then repeat the step.",
        )
    if "I/O" in message:
        return SetupError(
            f"the disk refuses: this was NOT recorded ({message})", where=where, hint="Look after the disk first."
        )
    return RecordError(f"the job record is damaged: {message}", where=where, hint="Go on from a good copy.")
