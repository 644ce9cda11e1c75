"""Finds a bus's bit rate by listening only: silent at one rate after the other, until frames come whole."""

from __future__ import annotations

from collections.abc import Callable

from benchcheck.bench.bench import Bench
from benchcheck.bench.can.serial_can_words import StatusBit
from benchcheck.traffic.wire.bitrate_trials import (
    BitrateFound,
    BitrateState,
    BitrateTrial,
    is_enough,
    judge_bitrate,
    rates_in_order,
)
from benchcheck.words.errors import SetupError

PUMP_S = 0.02
LISTEN_S = 1.5  # longer than the slowest message that units send all the time (common practice, no source)
_ERRORS = StatusBit.BUS_ERROR | StatusBit.ERROR_PASSIVE | StatusBit.WARNING


def find_bitrate(
    bench: Bench,
    bus: str,
    planned: int | None = None,
    *,
    listen_s: float = LISTEN_S,
    on_trial: Callable[[BitrateTrial], None] | None = None,
) -> BitrateFound:
    """Nothing is sent and nothing acknowledged: an adapter that refuses silent mode can't do it, nor one whose rate is not set
    by this program. The adapter is closed afterwards. SetupError where it can't be opened at all."""
    if not bench.sets_bitrate(bus):
        text = "this adapter can't do it: its bit rate is set outside this program, by the system"
        return BitrateFound(BitrateState.CANT, text)
    trials: list[BitrateTrial] = []
    for rate in rates_in_order(planned):
        try:
            trial = _listen(bench, bus, rate, listen_s)
        except SetupError as trouble:
            if "silent mode" in str(trouble):
                return BitrateFound(BitrateState.CANT, f"this adapter can't do it by listening only: {trouble}")
            if "bit/s" not in str(trouble):
                raise
            trial = BitrateTrial(rate, 0, 0.0, refused=True)
        trials.append(trial)
        if on_trial is not None:
            on_trial(trial)
        if is_enough(trial):
            break
    return judge_bitrate(trials, planned)


def _listen(bench: Bench, bus: str, rate: int, listen_s: float) -> BitrateTrial:
    clock = bench.clock
    with bench.can_at(bus, rate) as adapter:
        begin_ns, frames = clock.monotonic_ns(), 0
        while (clock.monotonic_ns() - begin_ns) / 1e9 < listen_s:
            clock.sleep(PUMP_S)
            frames += len(adapter.drain())
        status = adapter.status
        heard_s = (clock.monotonic_ns() - begin_ns) / 1e9
        return BitrateTrial(rate, frames, heard_s, None if status is None else bool(status & _ERRORS))
