"""What the screens work with: a job opened by whoever started them, and the dialogue with its runner."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.harness.model import Harness
from benchcheck.jobs.by_hand import ByHand
from benchcheck.jobs.dialogue import Dialogue
from benchcheck.jobs.next_up import NextUp, next_up
from benchcheck.jobs.session import CAUTIONS, Session
from benchcheck.readiness.board import Board
from benchcheck.words.result import Result
from benchcheck.words.step import Stage, Step


@dataclass
class Desk:
    """A job on the table. `do`, `diagnose` and `leave_safe` ask and wait: they run inside the dialogue."""

    file: str
    who: str
    bench: str
    harness: Harness
    session: Session
    by_hand: ByHand
    dialogue: Dialogue
    simulated: bool
    notes: tuple[str, ...] = ()

    @property
    def board(self) -> Board:
        return self.session.runner.board

    def next_up(self) -> NextUp:
        """What can be done now."""
        return next_up(self.session.runner)

    def do(self, step: Step) -> Result:
        """One step, with the cautions before the first powered one."""
        if step.state.supply_on and not self.session.cautions_accepted:
            name = self.who if self.simulated else self.by_hand.accept_cautions(CAUTIONS)
            self.session.begin()
            self.session.accept_cautions(name)
        self.session.begin()
        return self.session.runner.run_step(step)

    def diagnose(self, stage: Stage) -> None:
        """Look for the faults behind what failed in a stage."""
        self.session.begin()
        self.session.runner.diagnose(stage)

    @property
    def powered(self) -> bool:
        """Whether the supply is on, or may be."""
        state = self.session.runner.state
        return self.session.begun and (state is None or state.supply_on)

    def leave_safe(self) -> None:
        """Supply and load off before nobody looks any more."""
        self.session.runner.leave_safe()
