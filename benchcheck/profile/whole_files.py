"""Several files of a profile written together: each whole or not at all, an old one kept under `.old`."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Collection, Mapping
from pathlib import Path

from benchcheck.words.errors import SetupError


def write_files(contents: Mapping[Path, bytes], *, keep_old: Collection[Path] = ()) -> None:
    """Write all these files. What can't be written leaves every old one as it was: a full disk shows before that.

    keep_old  files whose content until now is kept beside them as NAME.old

    Raises SetupError.
    """
    wanted: list[tuple[Path, bytes]] = []
    try:
        for path, data in contents.items():
            if path in keep_old and path.exists():
                wanted.append((path.with_name(path.name + ".old"), path.read_bytes()))
            wanted.append((path, data))
        for path, data in wanted:
            with _new(path).open("wb") as sink:
                sink.write(data)
                sink.flush()
                os.fsync(sink.fileno())
        for path, _ in wanted:
            _new(path).replace(path)
    except OSError as error:
        for path, _ in wanted:
            with contextlib.suppress(OSError):
                _new(path).unlink()
        where = next(iter(contents), Path())
        raise SetupError(
            f"can't be written: {error.strerror or error}",
            where=str(where.parent if len(contents) > 1 else where),
            hint="What was there before is still there. Make room, or make the folder writable, and do it again.",
        ) from error


def _new(path: Path) -> Path:
    return path.with_name(path.name + ".new")
