"""The recordings of real equipment, and the facts that were computed of them (tests/data/recordings/README.md)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

RECORDINGS = Path(__file__).parent / "data" / "recordings"


def facts_of(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((RECORDINGS / f"{name}.facts.json").read_text())
    return found
