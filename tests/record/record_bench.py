"""What the record tests share: a clock that moves when told, a small job, and a forger's tools."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from pathlib import Path

from benchcheck.record.schema import GUARDS
from benchcheck.record.side_file import side_path
from benchcheck.record.store import JobRecord
from benchcheck.words.event import EventKind


class StillClock:
    """Moves by a second whenever it is read for UTC."""

    boot_id = "boot-1"

    def __init__(self) -> None:
        self.seconds = 0

    def utc(self) -> str:
        self.seconds += 1
        return f"2031-05-04T09:{self.seconds // 60:02d}:{self.seconds % 60:02d}.000000Z"

    def monotonic_ns(self) -> int:
        return self.seconds * 1_000_000_000


def new_job(path: Path) -> JobRecord:
    return JobRecord.create(
        path,
        title="Survey launch, instrument bay",
        profile_path="profiles/launch",
        digest="d" * 64,
        who="Ann Example",
        clock=StillClock(),
        chain="c1",
    )


def small_job(path: Path, readings: int = 4) -> None:
    """A job of `readings` + 2 events, closed."""
    with new_job(path) as record:
        record.append(EventKind.SESSION_STARTED, {"bench": {"meter": "typed"}, "ambient_c": 20.0}, who="Ann Example")
        for number in range(readings):
            body = {"step": f"continuity:W{number}", "reading": {"value": 0.1 * number}, "note": "é"}
            record.append(EventKind.READING, body, who="Ben Example")


def copy_job(source: Path, target: Path) -> Path:
    shutil.copyfile(source, target)
    shutil.copyfile(side_path(source), side_path(target))
    return target


@contextlib.contextmanager
def forging(path: Path):
    """The file opened by somebody who takes the guards off first and puts them back afterwards."""
    connection = sqlite3.connect(path, isolation_level=None)
    try:
        for name in GUARDS:
            connection.execute(f"DROP TRIGGER {name}")
        yield connection
        for statement in GUARDS.values():
            connection.execute(statement)
    finally:
        connection.close()
