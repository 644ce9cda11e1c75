"""`NAME.job.head`: how far the record goes, kept beside it so that a cut tail shows.

Written twice for each event. Before the event is committed the file is replaced (atomically, synced): the head as it
stands, and the hash of the event that is about to follow. After the commit the new head is written over it. So at any
moment the record ends either at the head that the file names or at the one announced event after it; anything else is
a tail that was cut or an event that was put there by other means.
"""

from __future__ import annotations

import contextlib
import json
import os
from dataclasses import dataclass
from pathlib import Path

from benchcheck.words.errors import SetupError

SCHEMA = "benchcheck.record-head/1"
_SIZE = 384  # fixed, so that the second writing never needs room on the disk


@dataclass(frozen=True, slots=True)
class Head:
    """Number and hash of the last event; `announced` is the hash of the one being written, or empty."""

    chain: str
    seq: int
    hash: str
    announced: str = ""


def side_path(job: Path) -> Path:
    """`NAME.job.head` for `NAME.job`."""
    return job.with_name(job.name + ".head")


def announce(job: Path, head: Head) -> None:
    """Replace the side file, synced. Raises SetupError when that is not possible: the event is then not written."""
    path = side_path(job)
    temporary = path.with_name(path.name + ".new")
    try:
        with temporary.open("wb") as sink:
            sink.write(_bytes(head))
            sink.flush()
            os.fsync(sink.fileno())
        try:
            temporary.replace(path)
        except PermissionError:  # Windows, while somebody reads it
            confirm(job, head)
            temporary.unlink()
    except OSError as error:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise SetupError(
            f"can't write the job's side file: {error.strerror or error}",
            where=str(path),
            hint="Nothing was recorded. Make room on the disk or make the folder writable, then repeat the step.",
        ) from error


def confirm(job: Path, head: Head) -> None:
    """Write the head over the announced one; same size, one write, no sync (the announcement already is)."""
    with side_path(job).open("r+b", buffering=0) as sink:
        sink.write(_bytes(head))


def read_head(job: Path) -> Head | None:
    """The head that the side file names; None where there is no such file or it makes no sense."""
    try:
        document = json.loads(side_path(job).read_bytes()[: 4 * _SIZE])
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        return None
    seq = document.get("seq")
    texts = [document.get(key) for key in ("chain", "hash", "announced")]
    if not isinstance(seq, int) or isinstance(seq, bool) or not all(isinstance(text, str) for text in texts):
        return None
    return Head(str(texts[0]), seq, str(texts[1]), str(texts[2]))


def _bytes(head: Head) -> bytes:
    document = {
        "schema": SCHEMA,
        "chain": head.chain,
        "seq": head.seq,
        "hash": head.hash,
        "announced": head.announced,
    }
    return json.dumps(document).encode("ascii").ljust(_SIZE - 1) + b"\n"
