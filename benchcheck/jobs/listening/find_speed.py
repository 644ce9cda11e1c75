"""Finds a line's speed by listening to it at one after the other, until what comes makes sense."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from benchcheck.bench.clock import Clock
from benchcheck.bench.lines.serial_line import LineListener
from benchcheck.traffic.lines.line_speed import (
    FRAMINGS,
    SpeedFound,
    SpeedState,
    Trial,
    is_garbage,
    judge_speed,
    makes_sense,
    trials_in_order,
)
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.traffic.lines.protocols import BUILT_IN, LineProtocol
from benchcheck.words.errors import SetupError

PUMP_S = 0.02
SETTLE_S = 0.1  # after a change of speed, what an adapter had still on its way came at the one before
LEAST_S = 1.5
PERIODS = 2.5
_SILENT_TRIALS = 2  # a level that changes gives bytes at any speed: more of them tell nothing


def trial_s(period_s: float) -> float:
    """How long one speed is listened to for a talker of this period."""
    return max(LEAST_S, PERIODS * period_s)


def find_speed(
    listener: LineListener,
    clock: Clock,
    protocol: str | LineProtocol,
    baud: int,
    framing: str,
    *,
    period_s: float = 1.0,
    heard: Trial | None = None,
    framings: Sequence[str] = FRAMINGS,
    on_trial: Callable[[Trial], None] | None = None,
    on_speed: Callable[[int], None] | None = None,
    is_over: Callable[[], bool] = lambda: False,
) -> SpeedFound:
    """Listen at what was planned first; the listener is left at the speed that was found, or at what was planned.

    protocol  of which sentences are looked for; a name that is not built in: readable lines
    heard     what was heard at the planned speed already: it is not listened to again
    framings  those to try beside the planned one
    on_speed  is told the speed that the listener was set to

    Each trial ends as soon as it is plain that it is right, or garbage. A speed or framing that the port refuses is passed
    over. `is_over` is asked between looks and ends the search with what is known by then.
    """
    if isinstance(protocol, str) and protocol not in BUILT_IN:
        protocol = "text"
    trials: list[Trial] = [] if heard is None else [heard]
    for speed, form in trials_in_order(baud, framing, framings)[len(trials) :]:
        if is_over() or sum(not trial.tally.bytes for trial in trials) >= _SILENT_TRIALS:
            break
        try:
            listener.set_speed(speed, form)
        except SetupError:
            continue
        if on_speed is not None:
            on_speed(speed)
        trial = _listen(listener, clock, protocol, speed, form, trial_s(period_s), is_over)
        trials.append(trial)
        if on_trial is not None:
            on_trial(trial)
        if makes_sense(trial.tally):
            break
    found = judge_speed(trials, baud, framing)
    if found.state is not SpeedState.FOUND:
        listener.set_speed(baud, framing)
        if on_speed is not None:
            on_speed(baud)
    return found


def _listen(
    listener: LineListener,
    clock: Clock,
    protocol: str | LineProtocol,
    baud: int,
    framing: str,
    most_s: float,
    is_over: Callable[[], bool],
) -> Trial:
    tally = LineTally(protocol)
    clock.sleep(SETTLE_S)
    listener.drain()
    begin_ns = clock.monotonic_ns()
    while True:
        clock.sleep(PUMP_S)
        for chunk in listener.drain():
            tally.feed(chunk.data, chunk.time_ns, framing_errors=chunk.framing_errors)
        heard_s = (clock.monotonic_ns() - begin_ns) / 1e9
        if makes_sense(tally) or is_garbage(tally) or heard_s >= most_s or is_over():
            return Trial(baud, framing, tally, heard_s)
