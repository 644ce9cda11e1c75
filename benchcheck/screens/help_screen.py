"""The keys, and what may be typed instead of a reading."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from benchcheck.screens.keys import help_lines


class HelpScreen(ModalScreen[None]):
    """Goes away at Esc, Enter or F1."""

    BINDINGS = [("escape,enter,f1,q", "dismiss", "Close")]

    def compose(self) -> ComposeResult:
        with VerticalScroll():
            yield Static(help_text())

    def action_dismiss(self, result: None = None) -> None:  # type: ignore[override]
        self.dismiss()


def help_text() -> Text:
    """Derived from the key registry."""
    text = Text("HELP    Esc closes it\n")
    for place, keys in help_lines():
        text.append(f"\n{place.capitalize()}\n", style="bold")
        for shown, help_words in keys:
            text.append(f"  {shown:18} {help_words}\n")
    text.append("\nTyped instead of a reading\n", style="bold")
    text.append("  0.3  4.7k  1.2M  180m  24.1 V   as the meter shows it\n")
    text.append("  OL                 the meter shows an open circuit, or more than its range\n")
    text.append("  skip REASON        leave the step out\n")
    text.append("  zero               measure the leads again, then go on\n")
    text.append("  back               do the step before once more\n")
    text.append("  quit               back to the board\n")
    text.append("\nShapes\n", style="bold")
    text.append("  ● PASS   X FAIL   ? UNSURE   » SKIPPED   ○ to do   - nothing to do here\n")
    return text
