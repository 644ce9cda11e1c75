"""A replay that is played, and the person or program that has it pause, step, go elsewhere or change its speed.

At a terminal keys are obeyed as they are pressed; otherwise, and with --plain, lines on stdin. How it stands is shown
on stderr where that is a terminal. Whatever ends it, no process is left and the terminal is as it was.
"""

from __future__ import annotations

import os
import select
import shutil
import sys
import time
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any

import click

from benchcheck.bench.keyboard import Keyboard, is_at_hand
from benchcheck.cli.output import say
from benchcheck.cli.replay_keys import Keys, keys_text, lines_text, of_line
from benchcheck.cli.replay_status import Ticker
from benchcheck.cli.signals import ends_in_order
from benchcheck.cli.survey_text import escaped
from benchcheck.jobs.playing.play_state import Command, Kind
from benchcheck.jobs.playing.player_process import PlayerProcess
from benchcheck.jobs.playing.playing import Played, Playing
from benchcheck.words.quantity import counted

if TYPE_CHECKING:
    from benchcheck.jobs.playing.player import Arrived, Status

_LONGEST_LINE = 4096
_ENDS_WITHIN_S = 1.0


def play(playing: Playing, *, plain: bool) -> Played:
    """Play to the end, or until told to quit. SetupError where the player or the bus fails."""
    with ends_in_order(), PlayerProcess(playing) as player, ExitStack() as stack:
        watch = _Watch(player, plain=plain, scrolls=playing.as_text)
        stack.callback(watch.end)
        if sys.platform != "win32":  # where only sockets can be waited for, it is played without being told anything
            watch.listen(stack, plain=plain)
        try:
            return watch.run()
        except KeyboardInterrupt:
            watch.end()
            _say_where(player)
            raise


def _say_where(player: PlayerProcess) -> None:
    """After Ctrl-C: how far it came, if it can still say that."""
    player.send(Command(Kind.QUIT))
    deadline = time.monotonic() + _ENDS_WITHIN_S
    while player.played is None and (left := deadline - time.monotonic()) > 0:
        player.receive(left)
    if player.played is not None and player.played.quit_at_s is not None:
        say(f"It had played {counted(player.played.frames, 'frame')}, up to second {player.played.quit_at_s:.3f}.")


class _Watch:
    """The player, what tells it what to do, and the terminal on which it shows."""

    def __init__(self, player: PlayerProcess, *, plain: bool, scrolls: bool) -> None:
        self._player = player
        self._shows = sys.stderr is not None and sys.stderr.isatty()
        frames_scroll = scrolls and sys.stdout is not None and sys.stdout.isatty()
        dumb = os.environ.get("TERM", "") in ("", "dumb")
        self._ticker = Ticker(redraws=not (plain or frames_scroll or dumb))
        self._status: Status | None = None
        self._keyboard: Keyboard | None = None
        self._keys = Keys()
        self._lines: int | None = None
        self._rest = b""
        self._sent = 0
        self._is_deserted = False  # stdin has ended
        self._is_quit = False

    def listen(self, stack: ExitStack, *, plain: bool) -> None:
        """Take keys or lines from stdin, as it is."""
        try:
            stdin = sys.stdin.fileno()
        except (AttributeError, OSError, ValueError):
            self._is_deserted = True
            return
        at_hand = is_at_hand(stdin)
        if os.isatty(stdin) and not at_hand:
            return  # it plays in the background of a terminal: reading from there would stop it
        if at_hand and not plain:
            self._keyboard = stack.enter_context(Keyboard(stdin))
        else:
            self._lines = stdin
        if self._shows and at_hand:
            say(keys_text() if self._keyboard is not None else lines_text())

    def run(self) -> Played:
        player, ticker = self._player, self._ticker
        while True:
            if self._shows:
                self._write(ticker.take(time.monotonic_ns(), shutil.get_terminal_size().columns))
            sources: list[Any] = [player]
            if self._keyboard is not None or self._lines is not None:
                sources.append(self._lines if self._keyboard is None else self._keyboard)
            if sys.platform == "win32":
                self._hear(None)
            else:
                wait_s = ticker.wait_s(time.monotonic_ns()) if self._shows else None
                ready = select.select(sources, [], [], wait_s)[0]
                if player in ready:
                    self._hear(0.0)
                if len(ready) > (player in ready):
                    self._read()
            if player.played is not None:
                return player.played
            status = self._status
            idle = status is not None and status.paused and status.told >= self._sent
            if self._is_deserted and idle and not self._is_quit:
                self._message("Nobody is left to have it go on: it ends here.")
                self._send(Command(Kind.QUIT))

    def end(self) -> None:
        """Leave the line on which it showed."""
        self._write(self._ticker.clear())

    def _hear(self, timeout_s: float | None) -> None:
        said: Any = self._player.receive(timeout_s)
        if said is None or isinstance(said, Played):
            return
        if hasattr(said, "text"):
            self._arrived(said)
        elif hasattr(said, "told"):
            self._status = said
            self._ticker.see(said, self._keys.number)

    def _arrived(self, arrived: Arrived) -> None:
        second = f"second {arrived.at_ns / 1e9:.6f}"
        self._message(
            f"No mark and no gap comes after {second}."
            if arrived.text is None
            else f"At {second}: {escaped(arrived.text)}."
        )

    def _read(self) -> None:
        if self._keyboard is not None:
            text = self._keyboard.read()
            if text is None:
                self._keyboard = None
                self._send(Command(Kind.QUIT))  # its terminal is gone
                return
            for found in self._keys.feed(text):
                self._obey(found, keys_text())
            if self._status is not None:
                self._ticker.see(self._status, self._keys.number)
            return
        assert self._lines is not None
        try:
            data = os.read(self._lines, _LONGEST_LINE)
        except OSError:
            data = b""
        lines = (self._rest + data).split(b"\n")
        self._rest = lines.pop()[:_LONGEST_LINE] if data else b""
        for line in lines:
            self._obey(of_line(line.decode("utf-8", "replace")), lines_text())
        if not data:
            self._lines, self._is_deserted = None, True

    def _obey(self, found: Command | str | None, help_text: str) -> None:
        if isinstance(found, Command):
            self._send(found)
        elif found is not None:
            self._message(found or help_text)

    def _send(self, command: Command) -> None:
        self._sent += 1
        self._is_quit |= command.kind is Kind.QUIT
        self._player.send(command)

    def _message(self, text: str) -> None:
        if self._shows:
            self._write(self._ticker.clear())
        say(text)

    def _write(self, text: str) -> None:
        if text:
            click.echo(text, nl=False, err=True)
