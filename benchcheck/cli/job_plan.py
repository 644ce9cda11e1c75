"""The plan of a job, for commands that look at its record: the profile it names, for the meter of its bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchcheck.cli.output import say
from benchcheck.words.errors import BenchcheckError

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness
    from benchcheck.plan.plan import Plan


def plan_of(profile: str) -> tuple[Harness, Plan]:
    """Harness and plan of a profile, given by path or name. Raises the errors of the profile."""
    from benchcheck.cli.bench_file import find_bench
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile
    from benchcheck.words.meter import MeterSpec

    folder = find_profile(profile)
    harness = load_profile(folder)
    try:
        meter = find_bench(None, folder)[0].meter_spec
    except BenchcheckError:
        meter = MeterSpec()  # what is wrong with that file is said where it is used
    return harness, make_plan(harness, meter)


def plan_if_readable(profile: str, what: str) -> tuple[Harness | None, Plan | None]:
    """The same; nothing where the profile is gone or faulty, which is said: `what` then shows no plan."""
    try:
        return plan_of(profile)
    except BenchcheckError as error:
        say(f"Note: the job's profile can't be read ({error.text}); {what} shows what was recorded, and no plan.")
        return None, None
