"""How a plan goes about its questions, where there is more than one way: chosen when a job is started."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Isolation(StrEnum):
    """Which nets are proved apart, and with what."""

    NEAR = "near"  # pairs that can come into touch: neighbours, one cable, chassis, shields, feeds
    FULL = "full"  # every net against every other, pair by pair
    PLUG = "plug"  # every net against all others at once, gathered with clips and shorting plugs


class Identity(StrEnum):
    """How a run is proved to go to its contact."""

    DIRECT = "direct"  # one lead at each end
    CODED = "coded"  # a coded plug at the far end, both leads at the near end


@dataclass(frozen=True, slots=True)
class Ways:
    """The ways of one plan."""

    isolation: Isolation = Isolation.NEAR
    identity: Identity = Identity.DIRECT

    def to_json(self) -> dict[str, object]:
        return {"isolation": self.isolation.value, "identity": self.identity.value}

    @classmethod
    def from_json(cls, document: object) -> Ways:
        """The ways that `to_json` wrote; the ordinary ones where nothing was written. ValueError for unknown words."""
        found = document if isinstance(document, Mapping) else {}
        return cls(
            Isolation(str(found.get("isolation", Isolation.NEAR.value))),
            Identity(str(found.get("identity", Identity.DIRECT.value))),
        )
