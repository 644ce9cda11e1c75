"""Error frames of a bus by their kind, and the state of the controller that told of them.

Error frames here have the layout of Linux `include/uapi/linux/can/error.h`: the classes are bits of the identifier, the
second data byte says what is wrong with the controller, the seventh and eighth are its error counters where class bit
0x200 says so. Recordings in which error frames have no such identifier count as `unknown`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

CLASSES = (
    "tx_timeout",
    "lost_arbitration",
    "controller",
    "protocol",
    "transceiver",
    "no_acknowledge",
    "bus_off",
    "bus_error",
    "restarted",
    "counters",
)
_CONTROLLER, _BUS_OFF, _RESTARTED, _COUNTERS = 0x04, 0x40, 0x100, 0x200
_OVERFLOW, _WARNING, _PASSIVE, _ACTIVE = 0x03, 0x0C, 0x30, 0x40


class BusState(StrEnum):
    """States of a controller by ISO 11898-1 (error active, passive, bus off), and the warning level below passive."""

    ACTIVE = "error active"
    WARNING = "error warning"
    PASSIVE = "error passive"
    OFF = "bus off"


_STATES = (BusState.ACTIVE, BusState.WARNING, BusState.PASSIVE, BusState.OFF)


class StateChange(NamedTuple):
    """The stamp of the error frame that was the first to tell of a state."""

    at_ns: int
    state: BusState


class ErrorTally:
    """Counts by class, and the states in the order they were told."""

    def __init__(self) -> None:
        self.classes = [0] * len(CLASSES)
        self.unknown = 0
        self.overflows = 0
        self.most_tx_errors = 0
        self.most_rx_errors = 0
        self.states: list[StateChange] = []

    def update(self, time_ns: NDArray[np.int64], can_id: NDArray[np.uint32], data: NDArray[np.uint8]) -> None:
        """Take in the next error frames, in recorder order."""
        if not len(time_ns):
            return
        kind = can_id.astype(np.int64)
        for bit in range(len(CLASSES)):
            self.classes[bit] += int(np.count_nonzero(kind & (1 << bit)))
        self.unknown += int(np.count_nonzero(kind & ((1 << len(CLASSES)) - 1) == 0))
        trouble = np.where(kind & _CONTROLLER, data[:, 1], 0)
        self.overflows += int(np.count_nonzero(trouble & _OVERFLOW))
        counted = (kind & _COUNTERS) != 0
        if counted.any():
            self.most_tx_errors = max(self.most_tx_errors, int(data[counted, 6].max()))
            self.most_rx_errors = max(self.most_rx_errors, int(data[counted, 7].max()))
        state = np.full(len(kind), -1)
        for number, told in enumerate(
            (
                (trouble & _ACTIVE) | (kind & _RESTARTED),
                trouble & _WARNING,
                trouble & _PASSIVE,
                kind & _BUS_OFF,
            )
        ):
            state[told != 0] = number
        at = np.flatnonzero(state >= 0)
        if not len(at):
            return
        changes = at[np.concatenate(([True], state[at][1:] != state[at][:-1]))]
        self._add([StateChange(int(time_ns[k]), _STATES[state[k]]) for k in changes])

    def merge(self, later: ErrorTally) -> None:
        """Take in the tally of the part that follows."""
        self.classes = [mine + theirs for mine, theirs in zip(self.classes, later.classes, strict=True)]
        self.unknown += later.unknown
        self.overflows += later.overflows
        self.most_tx_errors = max(self.most_tx_errors, later.most_tx_errors)
        self.most_rx_errors = max(self.most_rx_errors, later.most_rx_errors)
        self._add(later.states)

    def _add(self, states: list[StateChange]) -> None:
        same = bool(self.states and states and states[0].state is self.states[-1].state)
        self.states += states[1:] if same else states
