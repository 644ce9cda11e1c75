"""What all faults that can be planted in the simulated bench share."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import ClassVar

from benchcheck.harness.model import Harness

# What is wrong with a fault: the key, what it is, what to do about it (names to choose from: nearest is shown).
Complaint = tuple[str, str, tuple[str, ...]]

DEAD, POWER, LIVE = "dead", "power", "live"


@dataclass(frozen=True, slots=True)
class Fault:
    """What all faults share."""

    kind: ClassVar[str] = ""
    stage: ClassVar[str] = DEAD

    def where(self, harness: Harness) -> tuple[str, ...]:
        """The places that a squawk about this fault would name."""
        raise NotImplementedError

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        """What of this fault can't be followed in `harness`."""
        raise NotImplementedError

    def truth(self, harness: Harness) -> dict[str, object]:
        """The fault as the truth list has it, in plain JSON values."""
        keys = {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(self).items()}
        return {"kind": self.kind, "stage": self.stage, "where": list(self.where(harness)), **keys}


@dataclass(frozen=True, slots=True)
class UnitFault(Fault):
    unit: str

    def where(self, harness: Harness) -> tuple[str, ...]:
        return (self.unit,)

    def complaints(self, harness: Harness) -> Iterator[Complaint]:
        if self.unit not in harness.units:
            yield "unit", f"no unit {self.unit!r}", tuple(harness.units)


def not_positive(key: str, value: float) -> Iterator[Complaint]:
    if not value > 0:
        yield key, f"{value:g} must be more than 0", ()
