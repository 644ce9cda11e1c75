"""The bit rate of a bus, from what a silent listener heard at several: frames come whole at the right one only.

At a wrong rate a controller sees errors and no frame: the CRC of 15 bits lets one of 30,000 wrong frames pass. So three good frames
at one rate, and a hundred times as many as at any other, are the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.words.quantity import counted

BITRATES = (250_000, 500_000, 125_000, 1_000_000, 100_000, 50_000, 20_000, 10_000, 750_000, 83_300)
"""By how common they are (SAE J1939-11 and NMEA 2000: 250,000; the order of the others common practice, no source)."""
ENOUGH_FRAMES = 3
_FOR_OTHERS = 100


class BitrateState(StrEnum):
    FOUND = "found"
    NO_TRAFFIC = "no traffic"
    UNCLEAR = "unclear"
    CANT = "adapter can't do this"


@dataclass(frozen=True, slots=True)
class BitrateTrial:
    """errors: whether the controller saw errors, None where the adapter doesn't say. refused: it does not take this rate."""

    bitrate: int
    frames: int
    heard_s: float
    errors: bool | None = None
    refused: bool = False


@dataclass(frozen=True, slots=True)
class BitrateFound:
    state: BitrateState
    text: str
    bitrate: int | None = None


def rates_in_order(planned: int | None) -> list[int]:
    """What was planned first, then the others."""
    return [*([planned] if planned else []), *(rate for rate in BITRATES if rate != planned)]


def is_enough(trial: BitrateTrial) -> bool:
    return trial.frames >= ENOUGH_FRAMES


def judge_bitrate(trials: Sequence[BitrateTrial], planned: int | None = None) -> BitrateFound:
    """The answer from all trials."""
    tried = [trial for trial in trials if not trial.refused]
    if not tried:
        return BitrateFound(BitrateState.CANT, "this adapter can't do it: it takes none of the bit rates")
    best = max(tried, key=lambda trial: trial.frames)
    others = max((trial.frames for trial in tried if trial is not best), default=0)
    if is_enough(best) and best.frames >= _FOR_OTHERS * others:
        said = f"{best.bitrate} bit/s: {counted(best.frames, 'good frame')} in {best.heard_s:.1f} s"
        if planned is not None and planned != best.bitrate:
            said += f"; the profile says {planned} bit/s"
        return BitrateFound(BitrateState.FOUND, said, best.bitrate)
    if any(trial.errors for trial in tried):
        text = f"there is something on the bus, but at none of {len(tried)} bit rates do frames come whole"
        return BitrateFound(BitrateState.UNCLEAR, text)
    if best.frames:
        text = f"only {counted(best.frames, 'frame')} came at {best.bitrate} bit/s: too few to tell; listen longer"
        return BitrateFound(BitrateState.UNCLEAR, text)
    text = f"no traffic at any of {len(tried)} bit rates: can't tell"
    if all(trial.errors is None for trial in tried):
        text += " (this adapter does not say whether it saw errors)"
    return BitrateFound(BitrateState.NO_TRAFFIC, text)
