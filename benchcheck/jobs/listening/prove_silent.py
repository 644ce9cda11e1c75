"""Proves that an adapter is silent: a unit that is alone on the bus stays unacknowledged while it listens.

A frame that nobody acknowledges is no frame: its sender breaks it off and begins again, and a listener receives none. So with
one powered unit on the bus, and this bench the only other node, a silent listener hears nothing; the same adapter, taking
part, hears the unit at once. Both are tried, in this order. The second half acknowledges: it is only done when asked for.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.bench.bench import Bench
from benchcheck.words.quantity import counted

PUMP_S = 0.02
LISTEN_S = 3.0


@dataclass(frozen=True, slots=True)
class SilenceProof:
    """proved: True, False where it is certainly not silent or not alone, None where it can't be told."""

    proved: bool | None
    text: str


def prove_silent(bench: Bench, bus: str, bitrate: int, listen_s: float = LISTEN_S) -> SilenceProof:
    """Listen silently, then taking part. SetupError where the adapter can't be opened."""
    alone, taking_part = (_frames(bench, bus, bitrate, listen_s, acknowledge=part) for part in (False, True))
    return judge_silence(alone, taking_part, listen_s)


def judge_silence(silent_frames: int, acknowledged_frames: int, listen_s: float) -> SilenceProof:
    """From the frames heard while silent, and while taking part."""
    heard = f"{counted(silent_frames, 'frame')} in {listen_s:g} s of silence, {acknowledged_frames} in {listen_s:g} s of taking part"
    if silent_frames:
        text = (
            f"not proved: {heard}. Either a second node acknowledges, or this adapter does although it was told not to"
        )
        return SilenceProof(False, text)
    if not acknowledged_frames:
        return SilenceProof(None, f"can't tell: {heard}. Is exactly one unit powered and on this bus?")
    return SilenceProof(True, f"proved: a lone talker stayed unacknowledged ({heard})")


def _frames(bench: Bench, bus: str, bitrate: int, listen_s: float, *, acknowledge: bool) -> int:
    clock = bench.clock
    with bench.can_at(bus, bitrate, acknowledge=acknowledge) as adapter:
        begin_ns, frames = clock.monotonic_ns(), 0
        while (clock.monotonic_ns() - begin_ns) / 1e9 < listen_s:
            clock.sleep(PUMP_S)
            frames += len(adapter.drain())
    return frames
