"""A capture played in a process of its own to its end, without anybody who looks."""

from __future__ import annotations

from benchcheck.jobs.playing.player_process import PlayerProcess
from benchcheck.jobs.playing.playing import Played, Playing


def play_apart(playing: Playing) -> Played:
    """Play in a process of its own, to its end. SetupError where that process or the bus fails."""
    with PlayerProcess(playing) as player:
        while player.played is None:
            player.receive(None)
        return player.played
