"""The Textual program around the screens: look, keys that hold everywhere, and a clean end."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable, Sequence
from pathlib import Path

from textual.app import App
from textual.screen import Screen
from textual.theme import Theme

from benchcheck.screens.board_screen import BoardScreen
from benchcheck.screens.desk import Desk
from benchcheck.screens.help_screen import HelpScreen
from benchcheck.screens.jobs_screen import JobLine, JobsScreen
from benchcheck.screens.keys import EVERYWHERE, bindings
from benchcheck.words.errors import ExitCode

INTERRUPTED = int(ExitCode.INTERRUPTED)
THEME = Theme(
    name="harbour",
    primary="#5fafd7",
    secondary="#87afaf",
    accent="#ffd75f",
    foreground="#f5f5f5",
    background="#000000",
    surface="#101418",
    panel="#1c2329",
    warning="#ffd75f",
    error="#ff5f5f",
    success="#5fd787",
    dark=True,
)


class BenchApp(App[None]):
    """Opens with the board of a job, or with the list of jobs of a folder.

    opener   opens a job from the list; raises BenchcheckError with what is wrong
    """

    ENABLE_COMMAND_PALETTE = False
    TITLE = "benchcheck"
    BINDINGS = bindings(EVERYWHERE)
    CSS = """
    Static { height: auto; width: 100%; }
    #head { margin-bottom: 1; }
    #rows { height: 1fr; margin-top: 1; }
    #next { max-height: 6; }
    #jobs { height: 1fr; border: none; }
    #where { background: $panel; text-style: bold; height: 1; }
    #bench { max-height: 3; }
    #question { max-height: 2; }
    #prompt { height: 1fr; padding: 0 1; }
    #touch { max-height: 2; }
    #limit { max-height: 4; }
    #last { max-height: 2; }
    #line { height: 1; }
    #unit { width: auto; margin-right: 1; text-style: bold; }
    #answer { width: 1fr; }
    #small { display: none; height: 1fr; }
    Screen.-tight #bench, Screen.-tight #limit, Screen.-tight #last { max-height: 1; }
    #limit.-short { max-height: 3; }
    #touch.-none, Screen.-tight #touch { display: none; }
    Screen.-small > * { display: none; }
    Screen.-small > #small { display: block; }
    HelpScreen VerticalScroll { width: 84; max-width: 100%; height: 90%; background: $surface; padding: 0 2; }
    HelpScreen { align: center middle; }
    """

    def __init__(
        self,
        *,
        desk: Desk | None = None,
        folder: Path | None = None,
        listed: Callable[[], Sequence[JobLine]] = tuple,
        opener: Callable[[Path], Desk] | None = None,
        take_signals: bool = False,
    ) -> None:
        super().__init__()
        self._desk = desk
        self._folder = folder or Path()
        self._listed = listed
        self._opener = opener
        self._take_signals = take_signals
        self.crash: Exception | None = None

    def on_mount(self) -> None:
        self.register_theme(THEME)
        self.theme = THEME.name
        if self._take_signals:
            # The system's requests to end are taken like the quit key: terminal restored, supply off, record closed.
            loop = asyncio.get_running_loop()
            for name in ("SIGINT", "SIGTERM", "SIGHUP"):
                if hasattr(signal, name):
                    loop.add_signal_handler(getattr(signal, name), self.action_interrupt)

    def get_default_screen(self) -> Screen[None]:
        if self._desk is not None:
            return BoardScreen(self._desk)
        assert self._opener is not None
        return JobsScreen(self._folder, self._listed, self._opener)

    def action_help(self) -> None:
        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen())

    def action_interrupt(self) -> None:
        """What a terminal's Ctrl-C asks for. In a screen it comes as a key, and no signal is sent."""
        self.exit(return_code=INTERRUPTED)

    def _fatal_error(self) -> None:
        """An unforeseen error: whoever runs this finds it in `crash`; no trace is drawn on the terminal."""
        self.crash = self._exception
        self._close_messages_no_wait()
