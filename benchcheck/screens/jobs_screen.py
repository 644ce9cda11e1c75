"""The first screen: the jobs of this folder, or how to start one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.text import Text
from textual.app import ComposeResult
from textual.widget import Widget
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from benchcheck.screens.board_screen import BoardScreen
from benchcheck.screens.desk import Desk
from benchcheck.screens.fitted import FittedScreen
from benchcheck.screens.keys import JOBS, bindings
from benchcheck.screens.shapes import safe
from benchcheck.words.errors import BenchcheckError

HOW_TO_START = """\
There is no job in this folder yet.

  benchcheck demo                 the whole job on a simulated bench, no hardware
  benchcheck job start starter    a job for the starter profile; then come back here
  benchcheck job start FOLDER     a job for a profile of your own

  benchcheck review FOLDER        first: what is wrong in a profile on paper
"""


@dataclass(frozen=True, slots=True)
class JobLine:
    """One job of the folder; `error` says why it can't be opened."""

    path: Path
    title: str
    text: str
    error: str = ""


class JobsScreen(FittedScreen[None]):
    """Enter opens a job. What is wrong with it is said here, and nothing is lost."""

    BINDINGS = bindings(JOBS)

    def __init__(self, folder: Path, listed: Callable[[], Sequence[JobLine]], opener: Callable[[Path], Desk]) -> None:
        super().__init__()
        self._folder = folder
        self._listed = listed
        self._opener = opener
        self._jobs: Sequence[JobLine] = ()

    def compose(self) -> ComposeResult:
        yield from super().compose()
        yield Static(safe(f"Jobs in {self._folder}", "bold"), id="head")
        yield Static(id="start")
        yield OptionList(id="jobs")
        yield Static(id="next")
        yield Footer(show_command_palette=False)

    @property
    def takes_keys(self) -> Widget:
        return self.query_one(OptionList)

    def on_mount(self) -> None:
        self.action_refresh()

    def action_refresh(self) -> None:
        self._jobs = self._listed()
        options = self.query_one(OptionList)
        options.clear_options()
        options.add_options([Option(_line(job)) for job in self._jobs])
        options.display = bool(self._jobs)
        self.query_one("#start", Static).update(Text("" if self._jobs else HOW_TO_START))
        self._say("Enter opens a job." if self._jobs else "")
        if self._jobs:
            options.highlighted = 0
            options.focus()

    def on_option_list_option_selected(self, selected: OptionList.OptionSelected) -> None:
        job = self._jobs[selected.option_index]
        self._say(f"Opening {job.path.name}...")
        self.call_after_refresh(self._open, job.path)

    def _open(self, path: Path) -> None:
        try:
            desk = self._opener(path)
        except BenchcheckError as error:
            self._say(str(error))
        else:
            self.app.push_screen(BoardScreen(desk))

    def _say(self, text: str) -> None:
        self.query_one("#next", Static).update(safe_lines(text))


def safe_lines(text: str) -> Text:
    """Several lines, each of them safe."""
    return Text("\n").join(safe(line) for line in text.splitlines())


def _line(job: JobLine) -> Text:
    text = safe(job.path.name, "bold").append_text(safe(f"  {job.title}"))
    return text.append_text(safe_lines(f"\n    {job.error or job.text}"))
