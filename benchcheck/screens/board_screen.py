"""The board: every connector with its stages, what is counted, what is open, what comes next."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Footer, Static

from benchcheck.jobs.next_up import NextUp, stage_with_failure
from benchcheck.plan.plan import STAGES
from benchcheck.readiness.board import connector_rows, touched
from benchcheck.screens.desk import Desk
from benchcheck.screens.fitted import FittedScreen
from benchcheck.screens.keys import BOARD, bindings
from benchcheck.screens.shapes import safe, word_and_shape
from benchcheck.screens.step_screen import StepScreen
from benchcheck.words.step import Stage
from benchcheck.words.verdict import Outcome

_BAR = 20
_COLUMNS = (("connector", 10), ("unit", 9), ("zone", 17), ("dead", 10), ("power", 10), ("live", 10))


class BoardScreen(FittedScreen[None]):
    """Where a job stands. Enter goes to the next step; it comes back here at the end of a stage."""

    BINDINGS = bindings(BOARD)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._message = "  ".join(desk.notes)

    def compose(self) -> ComposeResult:
        yield from super().compose()
        yield Static(id="head")
        yield Static(id="counts")
        with VerticalScroll(id="rows"):
            yield Static(id="table")
        yield Static(id="next")
        yield Footer(show_command_palette=False)

    @property
    def takes_keys(self) -> Widget:
        return self.query_one("#rows")

    def on_mount(self) -> None:
        self.show()
        self.takes_keys.focus()

    def show(self) -> None:
        """Draw everything anew from the board."""
        desk = self._desk
        next_up = desk.next_up()
        head = safe(desk.harness.title, "bold")
        head.append_text(Text("\n")).append_text(safe(f"{desk.file}   {desk.who}   {desk.bench}"))
        self.query_one("#head", Static).update(head)
        self.query_one("#counts", Static).update(self._counts())
        self.query_one("#table", Static).update(self._table())
        self.query_one("#next", Static).update(self._next(next_up))

    def back_with(self, message: str) -> None:
        """What the step screen leaves behind."""
        self._message = message
        self.show()

    def action_next(self) -> None:
        next_up = self._desk.next_up()
        if next_up.steps:
            self._open(StepScreen(self._desk, next_up))
        else:
            self.back_with(next_up.why or "Nothing is left to do.")

    def action_diagnose(self) -> None:
        stage = stage_with_failure(self._desk.session.runner)
        if stage is None:
            self.back_with("No step has failed: there is no fault to find.")
        else:
            self._open(StepScreen(self._desk, NextUp(stage, ())))

    def _open(self, screen: StepScreen) -> None:
        self.app.push_screen(screen, lambda message: self.back_with(message or ""))

    def _counts(self) -> Text:
        text = Text()
        for stage in STAGES:
            counts = self._desk.board.counts(stage)
            whole = sum(counts.values())
            done = counts["PASS"] + counts["waived"]
            filled = _BAR * done // whole if whole else 0
            text.append(f"{stage.value:6} {done:4} of {whole:4} ", style="bold")
            text.append("█" * filled + "·" * (_BAR - filled))
            for word in ("FAIL", "UNSURE", "SKIPPED"):
                if counts[word]:
                    text.append("  ").append_text(word_and_shape(word)).append(f" {counts[word]}")
            text.append("\n")
        squawks = len(self._desk.board.squawks)
        if squawks:
            text.append(f"{squawks} open squawk{'' if squawks == 1 else 's'}, below the connectors", style="bold")
        text.rstrip()
        return text

    def _table(self) -> Text:
        desk, text = self._desk, Text(no_wrap=True, overflow="ellipsis")
        text.append("".join(f"{title:{width}}" for title, width in _COLUMNS).rstrip() + "\n", style="bold underline")
        for row in connector_rows(desk.harness, desk.board):
            for value, (_, width) in zip((row.ref, row.unit or "-", row.zone or "-"), _COLUMNS, strict=False):
                text.append_text(_cell(safe(value), width))
            for stage, word in row.stages:
                text.append_text(_cell(self._stage_word(row.ref, stage, word), 10))
            text.rstrip()
            text.append("\n")
        squawks = desk.board.squawks
        text.append(f"\nOpen squawks: {len(squawks) or 'none'}\n", style="bold")
        for number, squawk in enumerate(squawks, 1):
            text.append_text(safe(f"{number:3}. [{squawk.stage}] {squawk.text}"[:400])).append("\n")
        text.rstrip()
        return text

    def _stage_word(self, ref: str, stage: Stage, word: str) -> Text:
        """What a stage says of a connector; one that still has steps to do shows when some were left out already."""
        board = self._desk.board
        if word == "todo" and any(
            board.outcome(step.id) is Outcome.SKIPPED and not board.passed(step)
            for step in board.plan.of_stage(stage)
            if ref in touched(step)
        ):
            return word_and_shape("skipped")
        return word_and_shape(word)

    def _next(self, next_up: NextUp) -> Text:
        text = Text()
        if self._message:
            text.append_text(safe(self._message, "bold")).append("\n")
        if next_up.steps:
            first = next_up.steps[0]
            kind = "did not pass" if next_up.again else "to do"
            text.append("Next: ", style="bold")
            text.append_text(safe(f"{next_up.stage.value} stage, {len(next_up.steps)} {kind}: {first.question}"))
            if next_up.why and first.stage is not Stage.DEAD:
                text.append("\n").append_text(safe(next_up.why))
        else:
            text.append_text(safe(next_up.why or "All steps have passed or were waived."))
        return text


def _cell(text: Text, width: int) -> Text:
    cell = text.copy()
    cell.truncate(width - 1, overflow="ellipsis")
    cell.pad_right(width - cell.cell_len)
    return cell
