"""The job record: one file a job, events are only ever added, and an acknowledged one is on the disk.

Writing goes through SQLAlchemy Core to SQLite with a rollback journal (a write-ahead log neither copies whole nor
works on a network folder) and full syncs. One program at a time may write; reading beside it is fine.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import threading
import uuid
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Protocol

from benchcheck import __version__
from benchcheck.record import side_file
from benchcheck.record.canonical import RECORD_SCHEMA, canonical_bytes, chain_start, event_hash, plain
from benchcheck.record.lock_file import LockFile
from benchcheck.record.rows import event_of, meta_of, read_events, reading
from benchcheck.record.schema import COLUMNS
from benchcheck.record.side_file import Head
from benchcheck.record.verify import verify_record
from benchcheck.words.errors import RecordError, SetupError, UsageError
from benchcheck.words.event import Event, EventKind
from benchcheck.words.ways import Ways

if TYPE_CHECKING:
    from benchcheck.record.database import Database

SUFFIX = ".job"


class Clock(Protocol):
    """What stamps an event: UTC as RFC 3339 with microseconds, the monotonic clock, and which boot it belongs to."""

    def utc(self) -> str: ...

    def monotonic_ns(self) -> int: ...

    @property
    def boot_id(self) -> str: ...


class JobRecord:
    """An open job record, from `create` or `open`; a context manager that closes it. Several threads may use it."""

    def __init__(
        self, path: Path, clock: Clock | None, lock: LockFile | None, database: Database | None, last: Event | None
    ) -> None:
        self.path = path
        self._clock = clock
        self._lock = lock
        self._database = database
        self._last = last
        self._busy = threading.Lock()

    @classmethod
    def create(
        cls,
        path: Path,
        *,
        title: str,
        profile_path: str,
        digest: str,
        who: str,
        clock: Clock,
        chain: str = "",
        ways: Mapping[str, object] | None = None,
    ) -> JobRecord:
        """Start a job: a new file with the event `job.started`. `digest` is the profile's SHA-256.

        ways  how its plan goes about its questions, as words.ways writes it; left out: the ordinary ways

        Raises RecordError where `path` exists, SetupError where nothing can be written.
        """
        from benchcheck.record.database import Database

        path = _resolved(path)
        if not path.parent.is_dir():
            raise RecordError("there is no such folder", where=str(path.parent), hint="Make it, or choose another.")
        lock = LockFile(path, who)
        database: Database | None = None
        made = False
        try:
            _claim(path)
            made = True
            created = clock.utc()
            chain = chain or uuid.uuid4().hex
            body: dict[str, object] = {
                "title": title,
                "profile": profile_path,
                "digest": digest,
                "version": __version__,
                "ways": dict(ways or Ways().to_json()),
            }
            start = chain_start(chain=chain, created=created, schema=RECORD_SCHEMA)
            event = _event(1, chain, EventKind.JOB_STARTED, who, clock, digest, body, start)
            side_file.announce(path, Head(chain, 0, start, event.hash))
            database = Database(path)
            database.build({"schema": str(RECORD_SCHEMA), "created": created, "chain": chain}, _row(event))
            side_file.confirm(path, Head(chain, 1, event.hash))
            return cls(path, clock, lock, database, event)
        except BaseException:
            if database is not None:
                database.close()
            if made:
                for leftover in (path, side_file.side_path(path)):
                    leftover.unlink(missing_ok=True)
            lock.release()
            raise

    @classmethod
    def open(cls, path: Path, *, clock: Clock | None = None, who: str = "") -> JobRecord:
        """Open a job: with a clock for writing (alone), without one for reading only.

        `who` is told to others who find the job in use. Raises RecordError where there is no job record, where it is in
        use, or, for writing, where it is not as it was written: nothing is added to what was altered.
        """
        path = _resolved(path)
        if clock is None:
            with reading(path) as connection:
                meta_of(connection)
            return cls(path, None, None, None, None)
        from benchcheck.record.database import Database

        with reading(path):  # says in words what is wrong with the file, before anything is written beside it
            pass
        lock = LockFile(path, who or "somebody")
        database: Database | None = None
        try:
            database = Database(path)
            _must_be_as_written(path)
            last = _settled(path, database)
            return cls(path, clock, lock, database, last)
        except BaseException:
            if database is not None:
                database.close()
            lock.release()
            raise

    def append(self, kind: EventKind | str, body: Mapping[str, object], *, who: str, profile: str = "") -> Event:
        """Add an event. When this returns, it is on the disk. `profile` is the digest, by default the one before it.

        Raises SetupError (disk full, read-only, locked) or RecordError (a body that can't be recorded); then nothing
        was added, and nothing may be acknowledged.
        """
        if self._clock is None or self._database is None:
            raise UsageError("this job was opened for reading only", where=str(self.path))
        with self._busy:
            if self._last is None:  # the last try went wrong half-way: look what became of it
                self._last = _settled(self.path, self._database)
            last = self._last
            event = _event(last.seq + 1, last.chain, kind, who, self._clock, profile or last.profile, body, last.hash)
            side_file.announce(self.path, Head(last.chain, last.seq, last.hash, event.hash))
            self._last = None
            self._database.add(_row(event))
            self._last = event
            _confirm(self.path, event)
            return event

    def events(self) -> list[Event]:
        """Every event, in order."""
        return read_events(self.path)

    @property
    def head(self) -> Event:
        """The last event. A report quotes its number and hash."""
        with self._busy:
            if self._last is not None:
                return self._last
        return self.events()[-1]

    def close(self) -> None:
        """Let go of the file. Safe to call twice."""
        if self._database is not None:
            self._database.close()
            self._database = None
        if self._lock is not None:
            self._lock.release()

    def __enter__(self) -> JobRecord:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def copy_record(source: Path, target: Path) -> None:
    """A copy of a job, whole even while it is written to. Raises RecordError where `target` exists.

    The side file is written to match, from what the copy holds.
    """
    source, target = _resolved(source), _resolved(target)
    with reading(source) as connection:
        _claim(target)
        try:
            copy = sqlite3.connect(target)
            try:
                connection.backup(copy)
            finally:
                copy.close()
        except sqlite3.Error as error:
            target.unlink(missing_ok=True)
            raise SetupError(f"can't be copied: {error}", where=str(source)) from error
    last = read_events(target)[-1]
    side_file.announce(target, Head(last.chain, last.seq, last.hash))


def _resolved(path: Path) -> Path:
    # one file, one name: else a link would get past the lock
    return Path(path).resolve()


def _claim(path: Path) -> None:
    """Make an empty file that was not there before."""
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    except FileExistsError as error:
        raise RecordError(
            "there is a file of that name already",
            where=str(path),
            hint="Go on with that job, or choose another name with --file.",
        ) from error
    except OSError as error:
        raise SetupError(f"can't be written: {error.strerror}", where=str(path)) from error


def _event(
    seq: int,
    chain: str,
    kind: str,
    who: str,
    clock: Clock,
    profile: str,
    body: Mapping[str, object],
    prev: str,
) -> Event:
    at_utc, mono_ns, boot_id = clock.utc(), clock.monotonic_ns(), clock.boot_id
    held = plain(body)
    assert isinstance(held, dict)
    # the kind as plain text: a StrEnum would come back from the file as something else
    kind = str(kind)
    digest = event_hash(
        seq=seq,
        chain=chain,
        kind=kind,
        who=who,
        at_utc=at_utc,
        mono_ns=mono_ns,
        boot_id=boot_id,
        profile=profile,
        body=held,
        prev=prev,
    )
    return Event(seq, chain, kind, who, at_utc, mono_ns, boot_id, profile, held, prev, digest)


def _row(event: Event) -> dict[str, object]:
    row = {name: getattr(event, name) for name in COLUMNS}
    row["body"] = canonical_bytes(event.body).decode("utf-8")
    return row


def _settled(path: Path, database: Database) -> Event:
    """The last event, after making sure that the end of the record is what was last written."""
    row = database.last()
    event = event_of(row) if row is not None else "it has no event"
    if isinstance(event, str):
        raise _spoiled(path, f"the job record is damaged: {event}")
    head = side_file.read_head(path)
    if head is not None:
        if event.seq < head.seq:
            raise _spoiled(path, f"the tail of the record is gone: it ended at event {head.seq}, now at {event.seq}")
        held = head.hash if event.seq == head.seq else head.announced if event.seq == head.seq + 1 else ""
        if event.chain != head.chain or event.hash != held:
            raise _spoiled(path, f"event {event.seq} is not the one that was last written")
    side_file.announce(path, Head(event.chain, event.seq, event.hash))
    return event


def _must_be_as_written(path: Path) -> None:
    result = verify_record(path)
    if result.faults:
        raise _spoiled(path, result.faults[0].text)


def _spoiled(path: Path, text: str) -> RecordError:
    return RecordError(
        text,
        where=str(path),
        hint=f"Nothing is added to it. `benchcheck job verify {path.name}` says what is wrong; go on from a good copy.",
    )


def _confirm(path: Path, event: Event) -> None:
    # When it can't be written: the event is on the disk and announced, which says enough.
    with contextlib.suppress(OSError):
        side_file.confirm(path, Head(event.chain, event.seq, event.hash))
