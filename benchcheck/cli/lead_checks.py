"""Self-checks of breakout leads, kept in one small file in the user's data folder, newest last."""

from __future__ import annotations

import json
import os
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.words.errors import InputError, SetupError

if TYPE_CHECKING:
    from benchcheck.bench.config import BenchConfig

SCHEMA = "benchcheck.breakouts/1"
_LARGEST = 10_000_000


def checks_file() -> Path:
    """Where they are kept; nothing is created by asking."""
    from platformdirs import user_data_path

    return user_data_path("benchcheck", appauthor=False) / "breakouts.json"


def read_checks(path: Path) -> list[dict[str, object]]:
    """All self-checks, oldest first; none where there is no file. InputError for a file that can't be used."""
    try:
        if path.stat().st_size > _LARGEST:
            raise InputError("this is too large to hold self-checks", where=str(path))
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"can't be read: {error}", where=str(path), hint="Move it away; the leads are then due."
        ) from error
    try:
        document = json.loads(text)
        checks = document["checks"] if document["schema"] == SCHEMA else None
        good = isinstance(checks, list) and all(_is_check(entry) for entry in checks)
    except (ValueError, KeyError, TypeError, RecursionError):
        good = False
    if not good:
        raise InputError(
            "this holds no self-checks as they are written here",
            where=str(path),
            hint="Move it away; the leads are then due.",
        )
    return [dict(entry) for entry in checks or ()]


def add_check(path: Path, check: dict[str, object]) -> None:
    """Write one more, whole or not at all."""
    document = {"schema": SCHEMA, "checks": [*read_checks(path), check]}
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


def with_checks(config: BenchConfig, checks: list[dict[str, object]]) -> BenchConfig:
    """The bench with the newest self-check of each lead: its day where it passed, no day at all where it did not.

    A day that is typed in bench.toml counts where it is later than the newest that is kept.
    """
    last: dict[object, dict[str, object]] = {(entry["name"], entry["family"]): entry for entry in checks}
    ports = []
    for port in config.breakouts:
        found = last.get((port.name, port.family))
        if found is not None:
            day = date.fromisoformat(str(found["day"]))
            if port.checked is None or day >= port.checked:
                port = port.model_copy(update={"checked": day if found["outcome"] == "PASS" else None})
        ports.append(port)
    return config.model_copy(update={"breakouts": tuple(ports)})


def _is_check(entry: object) -> bool:
    if not isinstance(entry, dict) or not all(isinstance(entry.get(key), str) for key in ("name", "family", "outcome")):
        return False
    date.fromisoformat(entry["day"])  # a ValueError or TypeError says the same
    return True
