"""A small list that is kept in one JSON file in the user's data folder: read whole, added to whole or not at all."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from benchcheck.words.errors import InputError, SetupError

_LARGEST = 10_000_000


@dataclass(frozen=True, slots=True)
class KeptList:
    """name      of the file
    schema      what it must say of itself
    key         under which the list stands
    is_entry    whether an entry is as it is written here; may raise ValueError or TypeError for one that is not
    holds       what it holds, in words; if_gone: what it means to be without it
    """

    name: str
    schema: str
    key: str
    is_entry: Callable[[object], bool]
    holds: str
    if_gone: str

    @property
    def path(self) -> Path:
        """Where it is kept; nothing is created by asking."""
        from platformdirs import user_data_path

        return user_data_path("benchcheck", appauthor=False) / self.name

    def read(self, path: Path) -> list[dict[str, object]]:
        """All entries, oldest first; none where there is no file. InputError for a file that can't be used."""
        hint = f"Move it away; {self.if_gone}."
        try:
            if path.stat().st_size > _LARGEST:
                raise InputError(f"this is too large to hold {self.holds}", where=str(path))
            text = path.read_bytes().decode("utf-8")
        except FileNotFoundError:
            return []
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"can't be read: {error}", where=str(path), hint=hint) from error
        try:
            document = json.loads(text)
            entries = document[self.key] if document["schema"] == self.schema else None
            good = isinstance(entries, list) and all(self.is_entry(entry) for entry in entries)
        except (ValueError, KeyError, TypeError, RecursionError):
            good = False
        if not good:
            raise InputError(f"this holds no {self.holds} as they are written here", where=str(path), hint=hint)
        return [dict(entry) for entry in entries or ()]

    def add(self, path: Path, entry: dict[str, object]) -> None:
        """Write one more, whole or not at all. SetupError where that fails."""
        document = {"schema": self.schema, self.key: [*self.read(path), entry]}
        beside = path.with_name(f"{path.name}.new")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with beside.open("w", encoding="utf-8") as file:
                json.dump(document, file, indent=1, ensure_ascii=False, allow_nan=False)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(path)
        except OSError as error:
            beside.unlink(missing_ok=True)
            raise SetupError(f"can't be written: {error.strerror or error}", where=str(path)) from error
