"""Where in a frame's data a signal lies and how its bits are read: a plain description, from whatever database."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Field:
    """Bits of the data that are one number.

    Bit b of the data is bit b % 8 (0 is the lowest) of byte b // 8.

    start_bit      the lowest bit of a little-endian field, the highest of a big-endian one
    length_bits    1 to 64; 16, 32 or 64 for a float (IEEE 754)
    little_endian  Intel order: higher bits lie in later bytes; else Motorola order: lower bits lie in later bytes
    signed         two's complement; says nothing of a float
    """

    start_bit: int
    length_bits: int
    little_endian: bool = True
    signed: bool = False
    is_float: bool = False

    def __post_init__(self) -> None:
        if not 1 <= self.length_bits <= 64 or self.start_bit < 0:
            raise ValueError(f"a field of {self.length_bits} bits from bit {self.start_bit} on can't be read")
        if self.is_float and self.length_bits not in (16, 32, 64):
            raise ValueError(f"no floating-point number has {self.length_bits} bits")

    @property
    def first_byte(self) -> int:
        return self.start_bit // 8

    @property
    def bits_before(self) -> int:
        """Bits of the first byte that are read before the field's own: below it (little-endian) or above it."""
        within = self.start_bit % 8
        return within if self.little_endian else 7 - within

    @property
    def bytes_spanned(self) -> int:
        """Bytes that hold a bit of it: 1 to 9."""
        return (self.bits_before + self.length_bits + 7) // 8

    @property
    def bytes_needed(self) -> int:
        """Data bytes that a frame must have for all its bits to be there."""
        return self.first_byte + self.bytes_spanned


@dataclass(frozen=True, slots=True)
class Selector:
    """A signal is there only in frames in which `field`, the multiplexer, holds one of `values` (raw)."""

    field: Field
    values: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Signal:
    """One signal of a message. Its value is raw times `factor` plus `offset`, in `unit`.

    when  what must hold for it to be in a frame: none, or one for each multiplexer above it
    """

    name: str
    field: Field
    factor: float = 1.0
    offset: float = 0.0
    unit: str = ""
    when: tuple[Selector, ...] = ()

    @property
    def text(self) -> str:
        """The description in one line, for what changed from one profile to another."""
        field = self.field
        order = "Intel" if field.little_endian else "Motorola"
        kind = "float" if field.is_float else "signed" if field.signed else "unsigned"
        told = f"{self.name}: {field.length_bits} bits from bit {field.start_bit}, {order}, {kind}"
        told += f", times {self.factor:.12g} plus {self.offset:.12g} {self.unit}".rstrip()
        for entry in self.when:
            told += f", where {entry.field.length_bits} bits from bit {entry.field.start_bit} are one of "
            told += " ".join(map(str, entry.values))
        return told
