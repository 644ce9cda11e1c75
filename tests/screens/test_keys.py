from __future__ import annotations

from benchcheck.screens.app import BenchApp
from benchcheck.screens.board_screen import BoardScreen
from benchcheck.screens.help_screen import help_text
from benchcheck.screens.jobs_screen import JobsScreen
from benchcheck.screens.keys import BOARD, EVERYWHERE, JOBS, KEYS, STEP
from benchcheck.screens.step_screen import StepScreen

PLACES = {JOBS: JobsScreen, BOARD: BoardScreen, STEP: StepScreen, EVERYWHERE: BenchApp}


def test_every_key_does_something_and_stands_in_the_help():
    text = help_text().plain
    for key in KEYS:
        owner = BenchApp if key.action.startswith("app.") else PLACES[key.where]
        assert hasattr(owner, f"action_{key.action.removeprefix('app.')}"), key
        assert key.help in text
        assert any(binding.action == key.action for binding in PLACES[key.where].BINDINGS)


def test_no_key_means_two_things_in_one_place():
    for place in (JOBS, BOARD, STEP):
        used = [name for key in KEYS if key.where in (place, EVERYWHERE) for name in key.keys.split(",")]
        assert len(used) == len(set(used))
