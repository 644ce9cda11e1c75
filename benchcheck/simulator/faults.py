"""The faults that can be planted in the simulated bench: one frozen class a kind, by what they are faults of.

Each knows the stage in which it must show, and `where` a squawk about it would point. Only the
simulator and the tests ever read these; the tool under test must find the faults by measuring.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.simulator.fault import DEAD, LIVE, POWER, Complaint, Fault, UnitFault
from benchcheck.simulator.power_faults import ConverterOff, DeadTransmitter, FeedVolts, InvertedLevels, UnitCurrent
from benchcheck.simulator.traffic_faults import (
    AbsurdSignal,
    ExchangedTalkers,
    IntermittentUnit,
    LateUnit,
    SignalFault,
    SilentUnit,
    StuckSignal,
    TalkerFault,
    UnexpectedMessage,
    WrongBaud,
)
from benchcheck.simulator.wiring_faults import (
    BusCut,
    CrossedTxRx,
    ExtraTerminator,
    HighResistance,
    MirroredNumbering,
    MissingBridge,
    MissingDrain,
    MissingTerminator,
    OpenRun,
    PairFault,
    PartFault,
    ProtectorOpen,
    RunFault,
    Short,
    SwappedContacts,
    WrongContact,
)

__all__ = [
    "DEAD",
    "KINDS",
    "LIVE",
    "POWER",
    "AbsurdSignal",
    "BusCut",
    "Complaint",
    "ConverterOff",
    "CrossedTxRx",
    "DeadTransmitter",
    "ExchangedTalkers",
    "ExtraTerminator",
    "Fault",
    "FeedVolts",
    "HighResistance",
    "IntermittentUnit",
    "InvertedLevels",
    "LateUnit",
    "MirroredNumbering",
    "MissingBridge",
    "MissingDrain",
    "MissingTerminator",
    "OpenRun",
    "PairFault",
    "PartFault",
    "ProtectorOpen",
    "RunFault",
    "Short",
    "SignalFault",
    "SilentUnit",
    "StuckSignal",
    "SwappedContacts",
    "TalkerFault",
    "UnexpectedMessage",
    "UnitCurrent",
    "UnitFault",
    "WrongBaud",
    "WrongContact",
]


def _classes(base: type[Fault]) -> Iterator[type[Fault]]:
    for child in base.__subclasses__():
        if child.kind:
            yield child
        yield from _classes(child)


# Every kind that can be planted; found from the classes, so that there is no second list.
KINDS: dict[str, type[Fault]] = {entry.kind: entry for entry in _classes(Fault)}
