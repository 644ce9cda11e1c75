"""How a unit is told on a CAN bus by other means than a message of the database: a plain frozen value of the model."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.words.errors import Place


@dataclass(frozen=True, slots=True)
class BusSource:
    """What a unit sends on a bus, told by other means than a message of the database.

    can_id, mask   an identifier, and which of its bits count; mask None: all of them
    address        source address of a 29-bit scheme: the lowest byte of the identifier
    group          parameter group of a 29-bit scheme, of any sender or of the one with `address`
    byte, value    the frame's data byte of this number, from 0, has this value
    period_s       seconds from one to the next; None: sent once, or on occasion
    multi_frame    whether one message may take several frames: many frames a period are no second sender then
    instead        whether what the database says of the unit is not to be waited for on this bus
    """

    unit: str
    can_id: int | None = None
    mask: int | None = None
    extended: bool = False
    address: int | None = None
    group: int | None = None
    byte: int | None = None
    value: int = 0
    period_s: float | None = None
    multi_frame: bool = False
    instead: bool = False
    place: Place = Place("harness.toml")

    @property
    def is_one_identifier(self) -> bool:
        """Whether it is a whole identifier, and nothing else is asked of its frames."""
        return self.can_id is not None and self.mask is None and self.byte is None

    @property
    def text(self) -> str:
        """How it is told, in words; the same for two that are told alike."""
        digits = 8 if self.extended else 3
        parts = [] if self.can_id is None else [f"identifier {self.can_id:0{digits}X}"]
        parts += [] if self.mask is None else [f"mask {self.mask:0{digits}X}"]
        parts += [] if self.group is None else [f"parameter group {self.group:05X}"]
        parts += [] if self.address is None else [f"source address {self.address:02X}"]
        parts += [] if self.byte is None else [f"byte {self.byte} = {self.value:02X}"]
        return ", ".join(parts)
