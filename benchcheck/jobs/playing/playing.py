"""What is to be played, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.jobs.playing.frame_rows import Wanted

if TYPE_CHECKING:
    from benchcheck.bench.config import BenchConfig
    from benchcheck.jobs.playing.reel import Frames


@dataclass(frozen=True, slots=True)
class Onto:
    """The bus of a bench onto which frames are sent."""

    config: BenchConfig
    bus: str
    bitrate: int | None


@dataclass(frozen=True, slots=True)
class Playing:
    """What is played, and how.

    speed        2 takes half of the recorded time
    as_text      print each frame on stdout
    onto         send each frame onto a bus
    deliver      give the frames to whoever has it played, too; bundle_s: no more often than this, while what is printed
                 or sent onto a bus goes out when it is due
    paused       begin with a pause
    hold_at_end  behind the last frame wait for commands, instead of ending
    """

    file: Path
    wanted: Wanted = field(default_factory=Wanted)
    speed: float = 1.0
    as_text: bool = False
    onto: Onto | None = None
    deliver: bool = False
    bundle_s: float = 0.0
    paused: bool = False
    hold_at_end: bool = False


@dataclass(slots=True)
class Played:
    """What came of it. `not_sent` counts what could not be sent onto a bus: remote, error and FD frames; `quit_at_s` is
    the second at which it was told to quit, None where it came to its end."""

    frames: int = 0
    sent: int = 0
    not_sent: int = 0
    quit_at_s: float | None = None
    lateness: dict[str, float | None] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Delivered:
    """Frames that are due; `turn` as in Status: those of an earlier turn come from where it was before."""

    frames: Frames
    turn: int
