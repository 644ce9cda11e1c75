"""Sends a pattern out on one wire of a link and hears what comes back on the other one."""

from __future__ import annotations

from benchcheck.bench.bench import Bench
from benchcheck.bench.port import printable
from benchcheck.harness.model import Link
from benchcheck.jobs.operator import Operator
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.request import Request

PUMP_S = 0.02
SLACK_S = 1.0  # for the adapters' own buffers
AFTER_S = 0.2  # what comes twice comes right behind
UNTOLD_BAUD = 9600
_SHOWN = 24


def pattern_of(framing: str) -> bytes:
    """Every byte that there is at this framing: each bit at both levels, and all changes between neighbours."""
    return bytes(range(1 << int(framing[0])))


def send_round(bench: Bench, operator: Operator, link: Link, request: Request) -> Reading:
    """What came back: bytes counted, and in the detail whether they are those that were sent.

    The wires are joined while the port is closed, and parted when it is closed again. LinkLost, SetupError.
    """
    name = next(iter(bench.taps))
    baud, sent = link.baud or UNTOLD_BAUD, pattern_of(link.framing)
    operator.loop(name, request.red, request.black, link.ground, request.bridge)
    heard, errors = bytearray(), 0
    try:
        with bench.loop_line(name, baud, link.framing) as line:
            line.drain()
            line.send(sent)
            until_ns = bench.clock.monotonic_ns() + int((len(sent) * 12 / baud + SLACK_S) * 1e9)
            while bench.clock.monotonic_ns() < until_ns:
                bench.clock.sleep(PUMP_S)
                for chunk in line.drain():
                    heard += chunk.data
                    errors += chunk.framing_errors or 0
                if len(heard) >= len(sent):
                    until_ns = min(until_ns, bench.clock.monotonic_ns() + int(AFTER_S * 1e9))
            identity, lost = line.identity, str(line.state) == "link lost"
    finally:
        operator.loop_off(name)
    same = bytes(heard) == sent
    differs = next((at for at, pair in enumerate(zip(heard, sent, strict=False)) if pair[0] != pair[1]), None)
    detail = {
        "sent": len(sent),
        "same": same,
        "differs_at": differs if differs is not None or same else min(len(heard), len(sent)),
        "framing_errors": errors,
        "bridged": request.bridge is not None,
        "baud": baud,
        "framing": link.framing,
        "begins": printable(bytes(heard[:_SHOWN])),
    }
    if lost:
        detail["why"] = "the serial port was lost"
        return Reading(ReadingState.NONE, "bytes", instrument=identity, detail=detail)
    return Reading(ReadingState.VALUE, "bytes", float(len(heard)), instrument=identity, detail=detail)
