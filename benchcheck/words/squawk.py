"""A squawk: a recorded discrepancy, open until a later reading or a waiver clears it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class SquawkKind(StrEnum):
    """The faults that benchcheck can name. The last ones are said when nothing closer fits."""

    OPEN_RUN = "open_run"
    HIGH_RESISTANCE = "high_resistance"
    SWAPPED_CONTACTS = "swapped_contacts"
    MIRRORED_NUMBERING = "mirrored_numbering"
    ROWS_EXCHANGED = "rows_exchanged"
    OFF_BY_ONE = "off_by_one"
    WRONG_CONTACT = "wrong_contact"
    SHORT = "short"
    MISSING_BRIDGE = "missing_bridge"
    MISSING_DRAIN = "missing_drain"
    MISSING_TERMINATOR = "missing_terminator"
    EXTRA_TERMINATOR = "extra_terminator"
    WRONG_PART = "wrong_part"
    BUS_CUT = "bus_cut"
    PROTECTOR_OPEN = "protector_open"
    CROSSED_TX_RX = "crossed_tx_rx"
    CONVERTER_OFF = "converter_off"
    FEED_VOLTS = "feed_volts"
    UNIT_CURRENT = "unit_current"
    DEAD_TRANSMITTER = "dead_transmitter"
    INVERTED_LEVELS = "inverted_levels"
    CAN_LEVEL = "can_level"
    SILENT_UNIT = "silent_unit"
    LATE_UNIT = "late_unit"
    INTERMITTENT_UNIT = "intermittent_unit"
    UNPOWERED_UNIT = "unpowered_unit"
    UNEXPECTED_MESSAGE = "unexpected_message"
    STUCK_SIGNAL = "stuck_signal"
    ABSURD_SIGNAL = "absurd_signal"
    SILENT_LINE = "silent_line"
    WRONG_BAUD = "wrong_baud"
    WRONG_RATE = "wrong_rate"
    WRONG_TALKER = "wrong_talker"
    EXCHANGED_TALKERS = "exchanged_talkers"
    ERROR_FRAMES = "error_frames"
    BUS_OVERLOAD = "bus_overload"
    UNEXPLAINED = "unexplained"


@dataclass(frozen=True, slots=True)
class Squawk:
    """kind, where (contacts, runs, parts, unit, link or bus), stage, a sentence, and the readings behind it."""

    kind: SquawkKind
    where: tuple[str, ...]
    stage: str
    text: str
    steps: tuple[str, ...] = ()
    readings: tuple[Mapping[str, object], ...] = field(default_factory=tuple)

    @property
    def id(self) -> str:
        """The same for the same discrepancy, so that a rerun does not open it twice."""
        return f"{self.kind.value}:{'+'.join(self.where)}"

    def to_json(self) -> dict[str, object]:
        return {
            "id": self.id,
            "kind": self.kind.value,
            "where": list(self.where),
            "stage": self.stage,
            "text": self.text,
            "steps": list(self.steps),
            "readings": [dict(reading) for reading in self.readings],
        }
