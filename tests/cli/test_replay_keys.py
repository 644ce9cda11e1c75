"""Keys and lines, each with what it has the player do; and how it stands, in words."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.cli.replay_keys import CONTROLS, Keys, keys_text, lines_text, of_line
from benchcheck.cli.replay_status import SHOWN_EVERY_NS, Ticker, status_text
from benchcheck.jobs.playing.play_state import Command, Kind
from benchcheck.jobs.playing.player import Status

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def test_the_table_in_the_readme_is_that_of_the_program() -> None:
    rows = re.findall(r"^\| `(.)` \| `([a-z ]+?)( [A-Z]+)?` \| (.+) \|$", README, re.MULTILINE)
    assert rows == [(one.key, one.word, f" {one.number.upper()}" if one.number else "", one.what) for one in CONTROLS]


def test_every_kind_of_command_has_a_key_or_a_line() -> None:
    assert {one.kind for one in CONTROLS} | {Kind.PAUSE, Kind.GO_ON} == {*Kind, None}
    assert len({one.key for one in CONTROLS}) == len({one.word for one in CONTROLS}) == len(CONTROLS)


def test_the_keys_fit_a_terminal() -> None:
    assert max(map(len, keys_text().splitlines())) <= 80
    assert len(keys_text().splitlines()) < 24


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("p", [Command(Kind.PAUSE_OR_GO_ON)]),
        ("nn", [Command(Kind.FRAME)] * 2),
        ("e", [Command(Kind.EVENT)]),
        ("f", [Command(Kind.BY, 10)]),
        ("2.5f", [Command(Kind.BY, 2.5)]),
        ("b", [Command(Kind.BY, -10)]),
        ("90b", [Command(Kind.BY, -90)]),
        ("90t", [Command(Kind.TO, 90)]),
        ("1,5t", [Command(Kind.TO, 1.5)]),
        ("97\x7f0t", [Command(Kind.TO, 90)]),
        ("\x7f", []),
        ("4x", [Command(Kind.SPEED, 4)]),
        ("+-", [Command(Kind.FASTER), Command(Kind.SLOWER)]),
        ("12q", [Command(Kind.QUIT)]),
        ("5Zt", ["to needs a number: to the second typed before"]),  # another key forgets the number
        ("..t", ["'..' is no number"]),
        ("0x", ["'0' is no number"]),
        ("?", [""]),
        ("\x00é ~", []),
    ],
)
def test_keys(typed: str, told: list[Command | str]) -> None:
    whole, single = Keys(), Keys()
    assert whole.feed(typed) == told
    assert [found for key in typed for found in single.feed(key)] == told


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("pause", Command(Kind.PAUSE)),
        ("go", Command(Kind.GO_ON)),
        ("p", Command(Kind.PAUSE_OR_GO_ON)),
        ("  Next ", Command(Kind.FRAME)),
        ("forward", Command(Kind.BY, 10)),
        ("forward 3", Command(Kind.BY, 3)),
        ("back 0.25", Command(Kind.BY, -0.25)),
        ("to 12.5", Command(Kind.TO, 12.5)),
        ("t 12,5", Command(Kind.TO, 12.5)),
        ("speed 2", Command(Kind.SPEED, 2)),
        ("quit", Command(Kind.QUIT)),
        ("help", ""),
        ("", None),
        ("   ", None),
    ],
)
def test_lines(line: str, told: Command | str | None) -> None:
    assert of_line(line) == told


@pytest.mark.parametrize(
    "line", ["to", "speed", "to nan", "to 1e9", "to -1", "speed 0", "pause 2", "next 2 3", "\x1b[2J", "go on"]
)
def test_what_is_not_understood_is_said(line: str) -> None:
    found = of_line(line)
    assert isinstance(found, str)
    assert found
    assert "\x1b" not in found


@given(st.text())
def test_nothing_typed_is_too_much(text: str) -> None:
    keys = Keys()
    for found in [*keys.feed(text), of_line(text)]:
        assert found is None or isinstance(found, Command) or found.isprintable()
    assert len(keys.number) <= 12


def test_every_word_stands_in_the_lines() -> None:
    assert all(one.word in lines_text() for one in CONTROLS)
    assert "\n" not in lines_text()


# --- how it stands -------------------------------------------------------------------------------------------------


def status(at_s: float = 12.3456789, **how: object) -> Status:
    given: dict[str, object] = {
        "at_ns": round(at_s * 1e9),
        "end_ns": 60_000_000_000,
        "end_known": True,
        "paused": False,
        "at_end": False,
        "speed": 1.0,
        "frames": 5,
        "late_ns": None,
        "turn": 0,
        "told": 0,
    }
    return Status(**(given | how))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (status(), "second 12.3 of 60.0, at speed 1"),
        (status(speed=0.25, late_ns=623_000), "second 12.3 of 60.0, at speed 0.25, late by at most 0.6 ms"),
        (status(end_known=False), "second 12.3 of at least 60.0, at speed 1"),
        (status(paused=True, late_ns=5), "paused at second 12.345679 of 60.0"),
        (status(60, paused=True, at_end=True), "paused at second 60 of 60.0, its end"),
    ],
)
def test_in_words(said: Status, words: str) -> None:
    assert status_text(said) == words
    assert status_text(said, "90") == words + "   90"


@given(st.lists(st.integers(0, SHOWN_EVERY_NS), min_size=1, max_size=60), st.booleans())
def test_shown_at_most_five_times_a_second_and_the_last_in_the_end(waits: list[int], redraws: bool) -> None:
    ticker, now, shown = Ticker(redraws=redraws), 0, []
    for told, ns in enumerate(waits):
        now += ns
        ticker.see(status(told, told=told))
        if text := ticker.take(now, 80):
            shown.append((now, text))
    wait_s = ticker.wait_s(now)
    if wait_s is not None:
        now += round(wait_s * 1e9)
        shown.append((now, ticker.take(now, 80)))
    times = [at for at, _ in shown]
    assert all(b - a >= SHOWN_EVERY_NS for a, b in pairwise(times))
    if redraws or len(waits) > 1:
        assert status_text(status(len(waits) - 1)) in shown[-1][1]
    assert ticker.wait_s(now) is None


def test_lines_of_their_own_come_only_when_something_changed() -> None:
    ticker = Ticker(redraws=False)
    for at_s in range(5):
        ticker.see(status(at_s))
        assert ticker.take(at_s * SHOWN_EVERY_NS, 80) == ""
    ticker.see(status(5, paused=True))
    assert ticker.take(5 * SHOWN_EVERY_NS, 80) == "paused at second 5 of 60.0\n"


def test_a_drawn_line_leaves_nothing_of_a_longer_one_and_fits_the_width() -> None:
    ticker = Ticker(redraws=True)
    ticker.see(status(late_ns=10**6))
    long = ticker.take(0, 200)
    ticker.see(status())
    short = ticker.take(SHOWN_EVERY_NS, 200)
    assert len(short) == len(long)
    ticker.see(status())
    assert len(ticker.take(2 * SHOWN_EVERY_NS, 20).rstrip()) == 20
    assert ticker.clear().strip() == ""
    assert ticker.clear() == ""
