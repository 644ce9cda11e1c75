"""A screen that a player feeds, as the program's own screen of a replay is to be: run beside the benchmark.

    python tests/fed_screen.py CAPTURE OUTCOME

It shows where the player is and what it gave, five times a second, and writes what came of it into the file OUTCOME.
"""

from __future__ import annotations

import asyncio
import json
import sys
from collections import Counter
from pathlib import Path

from textual.app import App, ComposeResult
from textual.widgets import Static

from benchcheck.jobs.playing.play_state import Command, Kind
from benchcheck.jobs.playing.player import Status
from benchcheck.jobs.playing.player_process import PlayerProcess
from benchcheck.jobs.playing.playing import Delivered, Playing

ROWS = 40


class FedScreen(App[None]):
    """The identifiers of what was played, and how often each came."""

    def __init__(self, capture: Path, outcome: Path) -> None:
        super().__init__()
        self._outcome = outcome
        self._capture = capture
        self._counts: Counter[int] = Counter()
        self.refreshes = 0

    def compose(self) -> ComposeResult:
        yield Static(id="view")

    def on_mount(self) -> None:
        self._player = PlayerProcess(Playing(self._capture, deliver=True, bundle_s=0.2))
        asyncio.get_running_loop().add_reader(self._player.fileno(), self._receive)

    def on_unmount(self) -> None:
        asyncio.get_running_loop().remove_reader(self._player.fileno())
        self._player.close()

    def key_q(self) -> None:
        self._player.send(Command(Kind.QUIT))

    def _receive(self) -> None:
        said = self._player.receive()
        if isinstance(said, Delivered):
            self._counts.update(said.frames.batch.can_id.tolist())
            self.refreshes += 1
            rows = [f"{can_id:03X} {self._counts[can_id]:9,}" for can_id in sorted(self._counts)[:ROWS]]
            self.query_one("#view", Static).update("\n".join(rows))
        elif isinstance(said, Status):
            self.title = f"second {said.at_ns / 1e9:.1f}"
        elif self._player.played is not None:
            played = self._player.played
            outcome = {"frames": played.frames, "counted": self._counts.total(), "refreshes": self.refreshes}
            aside = self._outcome.with_suffix(".part")
            aside.write_text(json.dumps(outcome | {"lateness": played.lateness}), encoding="ascii")
            aside.rename(self._outcome)
            self.exit()


if __name__ == "__main__":
    FedScreen(Path(sys.argv[1]), Path(sys.argv[2])).run()
