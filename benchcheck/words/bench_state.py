"""Bench state: what is plugged into what while a step is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from benchcheck.words.contact import contact_key, ref_of


@dataclass(frozen=True, slots=True, order=True)
class BenchState:
    """What is plugged while a step is done. A connector in neither set is open.

    on_unit   connectors mated with their unit
    breakout  connectors reached through a breakout lead (on their unit too where they are in
              `on_unit`, so that contacts can be probed while the unit is connected)
    lifted    runs lifted off one end for the step, as `W231@GND2`
    opened    protectors pulled and switches off (reference designators); all others are in / on
    plugs     connectors with a shorting plug on: all their contacts are joined to chassis
    links     single contacts joined to chassis: by a clip, or by one link of a shorting plug whose links can be opened
    coded     connectors with a coded plug on: each contact goes to chassis through a resistor of its own
    supply_on whether the bench supply's output is on
    """

    on_unit: frozenset[str] = field(default_factory=frozenset)
    breakout: frozenset[str] = field(default_factory=frozenset)
    lifted: frozenset[str] = field(default_factory=frozenset)
    opened: frozenset[str] = field(default_factory=frozenset)
    supply_on: bool = False
    plugs: frozenset[str] = field(default_factory=frozenset)
    links: frozenset[str] = field(default_factory=frozenset)
    coded: frozenset[str] = field(default_factory=frozenset)

    def __str__(self) -> str:
        parts = ["supply on" if self.supply_on else "supply off"]
        parts.append("on their units: " + ", ".join(sorted(self.on_unit)) if self.on_unit else "all connectors open")
        if self.breakout:
            parts.append("breakout lead at " + ", ".join(sorted(self.breakout)))
        if self.lifted:
            parts.append("lifted: " + ", ".join(sorted(self.lifted)))
        if self.opened:
            parts.append("pulled or off: " + ", ".join(sorted(self.opened)))
        if self.plugs:
            parts.append("shorting plug at " + ", ".join(sorted(self.plugs)))
        if self.links:
            parts.append("joined to chassis: " + ", ".join(sorted(self.links, key=contact_key)))
        if self.coded:
            parts.append("coded plug at " + ", ".join(sorted(self.coded)))
        return "; ".join(parts)

    def changes_to(self, other: BenchState) -> tuple[str, ...]:
        """What the technician must do to get from this state to `other`, in a safe order.

        The supply goes off first and comes on last, and whatever is moved is moved while it is off.
        """
        if self == other:
            return ()
        todo: list[str] = []
        moved = replace(self, supply_on=other.supply_on) != other
        if self.supply_on and (moved or not other.supply_on):
            todo.append("supply off")
        todo += [f"take {ref} off its unit" for ref in sorted(self.on_unit - other.on_unit)]
        todo += [f"take the breakout lead off {ref}" for ref in sorted(self.breakout - other.breakout)]
        todo += [f"take the shorting plug off {ref}" for ref in sorted(self.plugs - other.plugs)]
        todo += [f"take the coded plug off {ref}" for ref in sorted(self.coded - other.coded)]
        # a plug that goes on closes its links in one movement
        parted = self.links - other.links
        todo += [
            f"part {end} from chassis" for end in sorted(parted, key=contact_key) if ref_of(end) not in other.plugs
        ]
        todo += [f"put {end.replace('@', ' back on ')}" for end in sorted(self.lifted - other.lifted)]
        todo += [f"lift {end.replace('@', ' off ')}" for end in sorted(other.lifted - self.lifted)]
        todo += [f"push in or switch on {ref}" for ref in sorted(self.opened - other.opened)]
        todo += [f"pull or switch off {ref}" for ref in sorted(other.opened - self.opened)]
        todo += [f"put a breakout lead on {ref}" for ref in sorted(other.breakout - self.breakout)]
        todo += [f"join {end} to chassis" for end in sorted(other.links - self.links, key=contact_key)]
        todo += [f"put a coded plug on {ref}, its lead on chassis" for ref in sorted(other.coded - self.coded)]
        clipped = {ref_of(end) for end in parted}
        todo += [
            f"put the shorting plug on {ref}{' in place of its clips' if ref in clipped else ''}, its lead on chassis"
            for ref in sorted(other.plugs - self.plugs)
        ]
        todo += [f"plug {ref} into its unit" for ref in sorted(other.on_unit - self.on_unit)]
        if other.supply_on and (moved or not self.supply_on):
            todo.append("supply on")
        return tuple(todo)

    def to_json(self) -> dict[str, object]:
        """The state as plain JSON values."""
        return {
            "on_unit": sorted(self.on_unit),
            "breakout": sorted(self.breakout),
            "lifted": sorted(self.lifted),
            "opened": sorted(self.opened),
            "supply_on": self.supply_on,
            "plugs": sorted(self.plugs),
            "links": sorted(self.links),
            "coded": sorted(self.coded),
        }

    @classmethod
    def from_json(cls, document: object) -> BenchState:
        """The state that `to_json` wrote; raises ValueError where it did not."""
        if not isinstance(document, Mapping):
            raise ValueError(f"not a bench state: {document!r}")

        def names(key: str) -> frozenset[str]:
            value = document.get(key, [])
            if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
                raise ValueError(f"not a list of names in a bench state: {key} = {value!r}")
            return frozenset(value)

        return cls(
            names("on_unit"),
            names("breakout"),
            names("lifted"),
            names("opened"),
            bool(document.get("supply_on", False)),
            names("plugs"),
            names("links"),
            names("coded"),
        )


ALL_OPEN = BenchState()
