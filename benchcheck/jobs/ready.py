"""Whether the bench is ready: everything in its description and in the profile, looked at one after the other.

Ports are opened and closed again, instruments are asked who they are; the supply's output is left as it is, nothing is sent
onto a bus, and nothing acknowledged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from benchcheck.bench.bench import Bench
from benchcheck.bench.can.can_interface import PassiveState
from benchcheck.harness.model import Harness
from benchcheck.words.errors import BenchcheckError, SetupError


class Readiness(StrEnum):
    READY = "ready"
    DOUBT = "doubt"  # usable, but something can't be told or is not as it should be
    NOT_READY = "not ready"


@dataclass(frozen=True, slots=True)
class ReadyItem:
    """One thing: what it is, how it stands, in words, and the one command that would mend it (empty: there is none)."""

    what: str
    state: Readiness
    text: str
    mend: str = ""


def look_at_bench(bench: Bench, harness: Harness | None, today: date) -> Iterator[ReadyItem]:
    """Each thing as soon as it was looked at."""
    yield from _instruments(bench)
    for bus in bench.buses:
        yield _adapter(bench, bus, harness)
    for tap in bench.taps:
        yield _serial(bench, tap)
    for lead in bench.config.leads:
        why = lead.overdue(today)
        text = why or str(lead)
        mend = f'benchcheck breakout check "{lead.name}"' if why else ""
        yield ReadyItem(f"breakout lead {lead.name}", Readiness.DOUBT if why else Readiness.READY, text, mend)
    if harness is not None:
        yield from _wanted(bench, harness)


def _instruments(bench: Bench) -> Iterator[ReadyItem]:
    if bench.has_meter:
        yield _asked("meter", lambda: bench.meter.identity)
    else:
        yield ReadyItem("meter", Readiness.READY, "readings are typed in")
    if bench.config.supply is not None:
        yield _asked("supply", lambda: bench.supply.identity)
    else:
        yield ReadyItem("supply", Readiness.READY, "switched by hand")
    if bench.config.matrix is not None:
        yield _asked("matrix", lambda: bench.matrix.identity if bench.matrix is not None else "")
    if bench.config.hands is not None:
        yield _asked("hands", lambda: "they move" if bench.hands is not None else "")


def _asked(what: str, ask: Callable[[], str]) -> ReadyItem:
    try:
        return ReadyItem(what, Readiness.READY, ask())
    except BenchcheckError as trouble:
        return _trouble(what, trouble)


def _trouble(what: str, trouble: BenchcheckError) -> ReadyItem:
    mend = trouble.mend if isinstance(trouble, SetupError) else ""
    said = f"{trouble.where}: {trouble.text}" if trouble.where else trouble.text
    return ReadyItem(what, Readiness.NOT_READY, f"{said}. {trouble.hint}".strip(), mend)


def _adapter(bench: Bench, bus: str, harness: Harness | None) -> ReadyItem:
    what = f"CAN adapter of {bus}"
    known = next((entry.bitrate for entry in harness.buses if entry.name == bus), None) if harness is not None else None
    try:
        adapter = bench.can(bus, known)
    except BenchcheckError as trouble:
        return _trouble(what, trouble)
    if adapter.bitrate is None and bench.sets_bitrate(bus):
        text = f"{adapter.identity}. Neither the bench's description nor a profile has its bit rate"
        return ReadyItem(what, Readiness.DOUBT, text, f"benchcheck listen --bus {bus} --find-bitrate --for 2")
    if adapter.passive.state is PassiveState.UNPROVED:
        return ReadyItem(what, Readiness.DOUBT, adapter.identity, f"benchcheck ready --prove-silent {bus}")
    return ReadyItem(what, Readiness.READY, adapter.identity)


def _serial(bench: Bench, tap: str) -> ReadyItem:
    what = f"serial port {tap}"
    try:
        listener = bench.line(tap)
    except BenchcheckError as trouble:
        return _trouble(what, trouble)
    marks = "framing errors are marked" if listener.framing_errors_reported else "framing errors are not marked here"
    return ReadyItem(what, Readiness.READY, f"{listener.port}; {marks}")


def _wanted(bench: Bench, harness: Harness) -> Iterator[ReadyItem]:
    """What the profile needs and the bench does not have."""
    for bus in harness.buses:
        if bus.name not in bench.buses:
            text = f"{bench.config.name} has no CAN adapter for it: its live checks will be UNSURE"
            yield ReadyItem(f"bus {bus.name}", Readiness.DOUBT, text)
            continue
        port = next(port for port in bench.config.can if port.bus == bus.name)
        if port.bitrate is not None and port.bitrate != bus.bitrate:
            text = f"the bench's description says {port.bitrate} bit/s, the profile {bus.bitrate} bit/s"
            yield ReadyItem(f"bus {bus.name}", Readiness.NOT_READY, text)
    if harness.links and not bench.taps:
        text = f"the profile has {len(harness.links)} links, and this bench no serial port to listen with"
        yield ReadyItem("links", Readiness.DOUBT, text)
    if harness.in_band and not (bench.has_meter and bench.config.meter_spec.four_wire):
        text = "the profile asks for resistances in band, and the meter does not read with four wires"
        yield ReadyItem("four wires", Readiness.DOUBT, text)
    if bench.config.supply is None and harness.feeds:
        text = "no supply that can be commanded: switch it by hand, and read its current off it"
        yield ReadyItem("feeds", Readiness.DOUBT, text)
