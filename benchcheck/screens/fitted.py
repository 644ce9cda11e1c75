"""What a screen does in a window too small for it: it says so, rather than leave out the line that is typed in."""

from __future__ import annotations

from typing import TypeVar

from rich.text import Text
from textual.app import ComposeResult
from textual.events import Resize
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

# Below this the lines above the input would push it off the window.
LEAST_COLUMNS, LEAST_ROWS = 40, 12
_TIGHT_ROWS = 16  # below this those lines are cut shorter

R = TypeVar("R")


class FittedScreen(Screen[R]):
    """A screen that is laid out for the least size and more. Subclasses yield `super().compose()` first."""

    @property
    def takes_keys(self) -> Widget | None:
        """The widget that what is typed goes to."""
        return None

    def compose(self) -> ComposeResult:
        yield Static(id="small")

    def on_resize(self, resized: Resize) -> None:
        width, height = resized.size
        small = width < LEAST_COLUMNS or height < LEAST_ROWS
        if small:
            words = f"Window too small: {width}x{height}. Make it {LEAST_COLUMNS}x{LEAST_ROWS} or larger."
            self.query_one("#small", Static).update(Text(f"{words} Nothing is lost; Ctrl-Q leaves."))
        grown = self.has_class("-small") and not small
        self.set_class(small, "-small")
        self.set_class(height < _TIGHT_ROWS, "-tight")
        if grown and (widget := self.takes_keys) is not None and widget.display:
            self.call_after_refresh(widget.focus)
