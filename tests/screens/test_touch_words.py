"""The step screen says how each lead gets onto its contact, below the large names, where there is room."""

from __future__ import annotations

import pytest
from screen_bench import SIZE, answer, screens, started_job, text_of, until

from benchcheck.harness.connector.access import Access
from benchcheck.profile.find import find_profile
from benchcheck.profile.load import load_profile
from benchcheck.screens.block_letters import draw
from benchcheck.screens.prompt import access
from benchcheck.words.bench_state import ALL_OPEN


@pytest.fixture
def job(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return started_job(tmp_path)


async def test_how_to_touch_stands_below_the_contacts(job):
    access_to = Access(load_profile(find_profile("starter")))
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await until(pilot, "Next:")
            await pilot.press("n")
            text = await until(pilot, "switch the supply off")
            assert "mating face" not in text
            await answer(pilot, "", "open every connector")
            text = await answer(pilot, "", "before ohms, DC volts")
            # the feed's two contacts, on a strip of four
            assert "RED   on its screw; 1st from the left\nBLACK on its screw; 1st from the right" in text
            assert all(line.rstrip() in text for line in draw("TB1-1", 2) + draw("TB1-4", 2))
            text = await answer(pilot, "0", "mating face")
            step = app.screen._step
            for label, contact, other in (("RED  ", step.red, step.black), ("BLACK", step.black, step.red)):
                assert f"{label} {access_to.touch(contact, ALL_OPEN, other).short}\n" in text
                assert all(line.rstrip() in text for line in draw(contact, 2))
            # in a low window the contacts come first
            await pilot.resize_terminal(60, 14)
            await pilot.pause()
            text = text_of(app)
            assert step.red in text
            assert "mating face" not in text


def test_long_words_are_cut_and_nothing_is_markup():
    text = access(("[red]x[/red]", "y" * 200))
    assert text.plain.startswith("RED   [red]x[/red]\nBLACK yyy")
    assert text.no_wrap
    assert text.overflow == "ellipsis"
    assert access(()).plain == ""
