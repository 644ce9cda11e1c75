"""One step after the other: the bench state, the two contacts, the limit, the reading, the verdict."""

from __future__ import annotations

from dataclasses import replace

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.events import Resize
from textual.message import Message
from textual.widget import Widget
from textual.widgets import Footer, Input, Static

from benchcheck.jobs.asked import BACK, QUIT, REL, SKIP, BackAsked, Question, QuestionKind, StopAsked
from benchcheck.jobs.dialogue import Asked, Ended, Said, Told
from benchcheck.jobs.next_up import NextUp
from benchcheck.report.step_rows import limit_words
from benchcheck.screens.desk import Desk
from benchcheck.screens.fitted import FittedScreen
from benchcheck.screens.keys import STEP, bindings
from benchcheck.screens.prompt import access, big_word, leads, tasks
from benchcheck.screens.shapes import STYLES, safe, word_and_shape
from benchcheck.words.errors import BenchcheckError
from benchcheck.words.person import name_fault
from benchcheck.words.result import Result
from benchcheck.words.step import Step
from benchcheck.words.verdict import Outcome

_ROOMY_ROWS = 26
_EXAMPLES = {"ohm": "0.3, 4.7k, 1.2M, OL", "V": "24.1, -5.1, 180m", "A": "0.82, 180m"}


class StepScreen(FittedScreen[str]):
    """Runs the steps that are up, then looks for the faults behind what failed, and closes with a sentence.

    The runner works in the dialogue's thread and asks; what is typed here answers it.
    """

    BINDINGS = bindings(STEP)

    class Heard(Message):
        """Something that the dialogue said, brought from its thread to this screen."""

        def __init__(self, said: Said) -> None:
            super().__init__()
            self.said = said

    def __init__(self, desk: Desk, next_up: NextUp) -> None:
        super().__init__()
        self._desk = desk
        self._up = next_up
        self._number = 0
        self._step: Step | None = None
        self._question: Question | None = None
        self._pause: Result | None = None  # a verdict that waits for Enter
        self._last = Text()
        self._done: list[int] = []
        self._leaving: str | None = None  # the sentence with which this screen closes, once the bench is safe
        self._stopped = False  # the board is wanted as soon as what is under way has ended

    def compose(self) -> ComposeResult:
        yield from super().compose()
        yield Static(id="where")
        yield Static(id="bench")
        yield Static(id="question")
        yield Static(id="prompt")
        yield Static(id="touch")
        yield Static(id="limit")
        yield Static(id="last")
        with Horizontal(id="line"):
            yield Static(id="unit")
            yield Input(id="answer", compact=True)
        yield Footer(show_command_palette=False)

    @property
    def takes_keys(self) -> Widget:
        return self.query_one(Input)

    def on_mount(self) -> None:
        if not self.query(Input):
            return  # the program is being left while this screen opens, and its widgets are gone already
        self._desk.dialogue.hear = self._hear
        self.takes_keys.focus()
        self._go_on()

    def _hear(self, said: Said) -> None:
        self.post_message(self.Heard(said))  # from the dialogue's thread; where the screen is gone, nobody hears it

    # --- what is done -------------------------------------------------------------------------------------------

    def _go_on(self) -> None:
        """The next step of the round; after the last one the diagnosis; after that the board."""
        steps = self._up.steps
        self._question = self._pause = None
        while self._number < len(steps) and self._desk.session.runner.why_not(steps[self._number]):
            self._number += 1  # what came before has closed the gate for this one
        if self._number < len(steps):
            step = self._step = steps[self._number]
            self._desk.dialogue.start(lambda: self._desk.do(step))
        else:
            self._step = None
            self._desk.dialogue.start(lambda: self._desk.diagnose(self._up.stage))
        self._show()

    def _leave(self, message: str) -> None:
        """Back to the board, but with the supply off."""
        if self._leaving is None:
            self._leaving = message
            if self._desk.powered:
                self._step = self._question = self._pause = None
                self._desk.dialogue.start(self._desk.leave_safe)
                self._show()
                return
        self.dismiss(self._leaving)

    def on_step_screen_heard(self, heard: Heard) -> None:
        match heard.said:
            case Asked(question):
                self._question = question
                self._show()
            case Told(text):
                self._last = safe(text, "bold")
                self._show()
            case Ended(value, error):
                self._ended(value, error)

    def _ended(self, value: object, error: BaseException | None) -> None:
        self._question = None
        if self._leaving is not None:
            if isinstance(error, BenchcheckError):
                self._leaving = f"{self._leaving}  {error}".strip()
            self.dismiss(self._leaving)
        elif isinstance(error, StopAsked):
            self._leave("Stopped; the step that was begun is not recorded.")
        elif isinstance(error, BackAsked):
            if self._done:
                self._number = self._done.pop()
            else:
                self._last = Text("There is no step before this one since you left the board.", style="bold")
            self._go_on()
        elif isinstance(error, BenchcheckError):
            self._leave(str(error))
        elif error is not None:
            raise error  # an internal error ends the program, with the terminal left clean
        elif isinstance(value, Result):
            self._take(value)  # also where the stop came too late for it: it was measured, and is recorded
        else:
            counts = self._desk.board.counts(self._up.stage)
            words = ", ".join(f"{number} {word}" for word, number in counts.items() if number)
            self._leave(f"{self._up.stage.value} stage: {words}.")

    def _take(self, result: Result) -> None:
        self._done.append(self._number)
        self._number += 1
        self._last = word_and_shape(result.outcome.value)
        self._last.append_text(safe(f"  {result.step.question} {result.verdict.text}"))
        if self._stopped:
            self._leave("")
        elif result.outcome is Outcome.PASS or result.verdict.reason == "left_out":
            self._go_on()
        else:
            self._pause = result
            self._show()

    # --- what is typed ------------------------------------------------------------------------------------------

    def on_input_submitted(self, submitted: Input.Submitted) -> None:
        typed = submitted.value
        submitted.input.clear()
        if self._pause is not None:
            self._after_pause(typed.strip().lower())
        elif self._question is not None:
            if wrong := _no_name(self._question, typed):
                self._question = replace(self._question, why=wrong)
                self._show()
                return
            self._question = None
            self._desk.dialogue.answer(typed)

    def _after_pause(self, typed: str) -> None:
        if typed == QUIT:
            self.action_board()
        elif typed == BACK:
            self._number = self._done.pop()
            self._go_on()
        elif typed:
            self._last = Text("This has its verdict. Enter goes on; back measures it once more.", style="bold")
            self._show()
        else:
            self._go_on()

    def action_board(self) -> None:
        self._stopped = True
        if self._desk.dialogue.busy:
            self._desk.dialogue.stop()
        elif self._leaving is None:
            self._leave("")

    def action_skip(self) -> None:
        if self._question is not None:
            answer = self.query_one(Input)
            answer.value = f"{SKIP} "
            answer.cursor_position = len(answer.value)

    def action_back(self) -> None:
        if self._pause is not None:
            self._after_pause(BACK)
        elif self._question is not None:
            self._question = None
            self._desk.dialogue.answer(BACK)

    # --- what is shown ------------------------------------------------------------------------------------------

    def on_resize(self, resized: Resize) -> None:
        self.call_after_refresh(self._show)

    def _show(self) -> None:
        if not self.is_mounted:
            return
        step = self._pause.step if self._pause is not None else self._step
        self.query_one("#where", Static).update(self._where())
        self.query_one("#bench", Static).update(self._bench(step))
        self.query_one("#question", Static).update(safe(step.question if step else self._beside(), "bold"))
        how = self._question.how_short if self._question is not None and self._pause is None else ()
        touch = self.query_one("#touch", Static)
        touch.set_class(not how, "-none")
        # both contacts stay large: rather the end of a note is cut
        self.query_one("#limit", Static).set_class(bool(how) and self.size.height < _ROOMY_ROWS, "-short")
        touch.update(access(how))
        self.query_one("#limit", Static).update(self._limit(step))
        self.query_one("#last", Static).update(self._said())
        answer = self.query_one(Input)
        answer.placeholder = self._hint()
        question = self._question
        self.query_one("#unit", Static).update(f"{question.unit if question is not None else ''} >")
        self.call_after_refresh(self._show_prompt)

    def _show_prompt(self) -> None:
        """Last, when the other lines have taken their room."""
        prompt = self.query_one("#prompt", Static)
        width, height = prompt.size.width, prompt.size.height
        question = self._question
        if self._pause is not None:
            word = self._pause.outcome.value
            below = word_and_shape(word).append_text(safe(f"  {self._pause.verdict.text}"))
            prompt.update(big_word(word, below, width, height, STYLES.get(word, "bold")))
        elif question is not None and question.red:
            prompt.update(leads(question.red, question.black, width, height))
        elif question is not None:
            prompt.update(tasks(question.todo))
        else:
            prompt.update(Text(self._busy_words()))

    def _beside(self) -> str:
        """What is going on while no step is."""
        if self._leaving is not None:
            return "Back to the board, with the supply off."
        return "Where does the fault lie? These probes belong to no step; F2 leaves one out."

    def _busy_words(self) -> str:
        if self._leaving is not None:
            return "Switching the supply off..."
        return "Looking for the fault..." if self._step is None else "Measuring..."

    def _where(self) -> Text:
        count = len(self._up.steps)
        if self._leaving is not None:
            return safe(f"{self._up.stage.value} stage, leaving   {self._desk.harness.title}")
        place = f"step {min(self._number + (self._pause is None), count)} of {count}" if self._step else "diagnosis"
        return safe(f"{self._up.stage.value} stage, {place}   {self._desk.harness.title}")

    def _bench(self, step: Step | None) -> Text:
        confirmed = self._desk.session.runner.state
        moving = self._question is not None and self._question.kind in (QuestionKind.STATE, QuestionKind.SUPPLY)
        if moving and step is not None:
            return Text("BENCH TO BE: ", style="bold").append_text(safe(str(step.state)))
        state = str(confirmed) if confirmed is not None else "not confirmed yet"
        return Text("BENCH: ", style="bold").append_text(safe(state))

    def _said(self) -> Text:
        if self._question is not None and self._question.why:
            return Text("! ", style="bold yellow").append_text(safe(self._question.why, "bold"))
        return Text() if self._pause is not None else self._last

    def _limit(self, step: Step | None) -> Text:
        """The limit of what is asked for now: of the step, or of a reading that is wanted beside it."""
        question = self._question
        if question is not None and question.kind is QuestionKind.LEADS:
            return Text()  # what is wanted stands in the moves
        if question is None or question.kind is not QuestionKind.READING:
            words = _limit(step)
            listening = self._desk.session.listening(step) if step is not None else ""
            if listening:
                words.append("\n" if words else "").append_text(safe(f"Listening: {listening}"))
            return words
        if step is None or step.band is None or question.unit != step.band.unit:
            return safe(question.todo[-1], "bold")
        return _limit(step)

    def _hint(self) -> str:
        if self._pause is not None:
            return "Enter goes on; back measures it once more"
        question = self._question
        if question is None:
            return ""
        if question.kind is QuestionKind.READING:
            return f"as the meter shows it: {_EXAMPLES[question.unit]}"
        if question.kind is QuestionKind.LEADS:
            return f"as the meter shows them: 0.2 0.3 0.2; or {REL}"
        return "your name" if question.kind is QuestionKind.CAUTIONS else "Enter when it is done"


def _no_name(question: Question, typed: str) -> str:
    """Why an answer is not taken as the name that accepts the cautions; empty where it is, or is a word or nothing."""
    if question.kind is not QuestionKind.CAUTIONS or typed.strip().partition(" ")[0].lower() in ("", BACK, QUIT, SKIP):
        return ""
    wrong = name_fault(typed)
    return f"{wrong}. Type your name." if wrong else ""


def _limit(step: Step | None) -> Text:
    text = Text()
    if step is None:
        return text
    if step.band is not None:
        words = limit_words(step.band.low, step.band.high, step.band.unit)
        text.append("LIMIT ", style="bold").append_text(safe(words, "bold"))
        text.append_text(safe(f"  {step.band.source}"))
    if step.note:
        text.append("\n" if text else "").append_text(safe(f"Note: {step.note}"))
    return text
