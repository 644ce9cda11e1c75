"""Which CAN adapters were proved silent, kept in the user's data folder, newest last."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.cli.kept_list import KeptList

if TYPE_CHECKING:
    from benchcheck.bench.config import BenchConfig

SCHEMA = "benchcheck.silence/1"


def proofs_file() -> Path:
    """Where they are kept; nothing is created by asking."""
    return _PROOFS.path


def read_proofs(path: Path) -> list[dict[str, object]]:
    """All proofs, oldest first. InputError for a file that can't be used."""
    return _PROOFS.read(path)


def add_proof(path: Path, interface: str, channel: str, day: date, *, proved: bool, text: str) -> None:
    """Write one more, whole or not at all."""
    entry = {"interface": interface, "channel": channel, "day": day.isoformat(), "proved": proved, "text": text}
    _PROOFS.add(path, entry)


def with_proofs(config: BenchConfig, proofs: list[dict[str, object]]) -> BenchConfig:
    """The bench with the newest proof of each adapter that has one, and whose last attempt did not fail."""
    last = {(entry["interface"], entry["channel"]): entry for entry in proofs}
    ports = []
    for port in config.can:
        found = last.get((port.interface, port.channel))
        if found is not None and found["proved"]:
            port = port.model_copy(update={"silence": f"{found['text']}, here on {found['day']}"})
        ports.append(port)
    return config.model_copy(update={"can": tuple(ports)})


def _is_proof(entry: object) -> bool:
    if not isinstance(entry, dict) or not isinstance(entry.get("proved"), bool):
        return False
    date.fromisoformat(entry["day"])  # a ValueError or TypeError says the same
    return all(isinstance(entry.get(key), str) for key in ("interface", "channel", "text"))


_PROOFS = KeptList("silence.json", SCHEMA, "proofs", _is_proof, "proofs of silence", "silence is then unproved")
