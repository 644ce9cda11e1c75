"""The first dead steps of the starter profile, whatever order the plan puts them in."""

from __future__ import annotations

from model_bench import shipped

from benchcheck.words.step import Stage

STEPS = shipped("starter")[1].of_stage(Stage.DEAD)
FIRST, SECOND, THIRD, FOURTH = STEPS[:4]
assert all(step.check == "continuity" for step in (FIRST, SECOND)), "what reads 0.2 ohm there passes"
