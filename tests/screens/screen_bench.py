"""What the screen tests share: a starter job, the screens around it, and what stands on them as text."""

from __future__ import annotations

from contextlib import contextmanager

from benchcheck.cli.main import run
from benchcheck.cli.opening import opened_desk
from benchcheck.screens.app import BenchApp

SIZE = (80, 24)


def started_job(folder):
    path = folder / "starter.job"
    assert run(["job", "start", "starter", "--file", str(path), "--by", "Ann Example"]) == 0
    return path


@contextmanager
def screens(path, bench=None):
    """The app on a job, not running yet."""
    with opened_desk(path, bench=bench, who="Ann Example") as desk:
        app = BenchApp(desk=desk)
        yield app, desk


def text_of(app) -> str:
    """The whole terminal as text."""
    return "\n".join(strip.text.rstrip() for strip in app.screen._compositor.render_strips())


async def until(pilot, wanted) -> str:
    """Wait for something to stand on the screen; gives the screen."""
    text = ""
    for _ in range(1000):
        await pilot.pause(0.01)
        text = text_of(pilot.app)
        if wanted(text) if callable(wanted) else wanted in text:
            return text
    raise AssertionError(f"never came; on the screen is:\n{text}")


async def answer(pilot, typed, wanted) -> str:
    """Type an answer when the screen asks, and wait for what it leads to."""
    await until(pilot, " > ")
    await pilot.press(*[{" ": "space", ".": "full_stop", "-": "minus"}.get(key, key) for key in typed], "enter")
    return await until(pilot, wanted)
