"""Self-checks of breakout leads, kept in the user's data folder, newest last."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.cli.kept_list import KeptList

if TYPE_CHECKING:
    from benchcheck.bench.config import BenchConfig

SCHEMA = "benchcheck.breakouts/1"


def checks_file() -> Path:
    """Where they are kept; nothing is created by asking."""
    return _CHECKS.path


def read_checks(path: Path) -> list[dict[str, object]]:
    """All self-checks, oldest first; none where there is no file. InputError for a file that can't be used."""
    return _CHECKS.read(path)


def add_check(path: Path, check: dict[str, object]) -> None:
    """Write one more, whole or not at all."""
    _CHECKS.add(path, check)


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


_CHECKS = KeptList("breakouts.json", SCHEMA, "checks", _is_check, "self-checks", "the leads are then due")
