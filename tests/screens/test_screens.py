"""The screens with a person who types, without a mouse, in 80 columns and 24 rows."""

from __future__ import annotations

import json
import os
import pty
import select
import subprocess
import sys
import termios
import threading
from pathlib import Path

import pytest
from console_driver import SoundHarness, check_by_hand
from first_steps import FIRST, FOURTH, SECOND, THIRD
from screen_bench import SIZE, answer, screens, started_job, text_of, until

from benchcheck.cli.opening import _job_lines
from benchcheck.record.store import JobRecord
from benchcheck.record.verify import verify_record
from benchcheck.screens.app import BenchApp
from benchcheck.screens.block_letters import draw
from benchcheck.screens.board_screen import BoardScreen
from benchcheck.screens.fitted import LEAST_COLUMNS, LEAST_ROWS
from benchcheck.screens.jobs_screen import JobLine
from benchcheck.simulator.launch import start
from benchcheck.words.contact import ref_of
from benchcheck.words.event import EventKind

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def no_bench_of_mine(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


@pytest.fixture
def job(tmp_path):
    return started_job(tmp_path)


def events(job, kind):
    with JobRecord.open(job) as record:
        return [event.body for event in record.events() if event.kind == kind]


def of_plan(job):
    return [
        (body["step"], body["reading"]["value"]) for body in events(job, EventKind.READING) if not body["follow_up"]
    ]


BOARD = """\
Starter: a position receiver and a recorder
starter.job   Ann Example   bench by hand, readings typed in

dead      0 of   37 ····················
power     0 of   23 ····················
live      0 of    7 ····················

connector unit     zone             dead      power     live
P1        GPS      left shelf       ○ todo    ○ todo    -
P2        REC      right shelf      ○ todo    ○ todo    ○ todo
TB1       -        right shelf      ○ todo    ○ todo    -
GND1      -        right shelf      ○ todo    ○ todo    -

Open squawks: none







ambient: 20 C, as the profile says
Next: dead stage, 37 to do: @FIRST@
 n Next step  d Find the fault  q Quit  f1 Help"""


async def test_the_board(job):
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            assert await until(pilot, "f1 Help") == BOARD.replace("@FIRST@", FIRST.question)
            await pilot.press("f1")
            assert "do the next step that can be done" in await until(pilot, "Esc closes it")
            await pilot.press("escape")
            await until(pilot, "Next:")
            await pilot.press("d")
            await until(pilot, "there is no fault to find")
    # looking is no session
    assert [event.kind for event in JobRecord.open(job).events()] == [EventKind.JOB_STARTED, EventKind.PROFILE_KEPT]


async def to_the_first_ohms(pilot):
    await until(pilot, "Next:")
    await pilot.press("n")
    await until(pilot, "switch the supply off")
    await answer(pilot, "", "open every connector and push in every protector")
    assert "BENCH TO BE: supply off; all connectors open" in text_of(pilot.app)
    await answer(pilot, "", "before ohms, DC volts: is the power off?")
    # first the feed at its source, then the pair whose ohms are wanted
    assert draw("TB1-1", 2)[0].rstrip() in text_of(pilot.app)
    await answer(pilot, "0", draw(FIRST.red, 2)[0].rstrip())
    await answer(pilot, "0", "touch the two leads together")
    return await answer(pilot, "rel", "RED ")


async def test_a_few_steps(job):
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            text = await to_the_first_ohms(pilot)
            assert "BENCH: supply off; all connectors open" in text
            assert f"LIMIT at most {FIRST.band.high:.4g} ohm  computed: AWG" in text
            for line in draw(FIRST.red, 2) + draw(FIRST.black, 2):
                assert line.rstrip() in text
            text = await answer(pilot, "0.2", SECOND.question)
            assert f"● PASS  {FIRST.question} 0.2 ohm" in text
            # garbage is asked again, and shown as text only
            text = await answer(pilot, "[b]x", "is no reading")
            assert "'[b]x'" in text
            assert len(of_plan(job)) == 1
            # open: the verdict is word and shape, and waits
            text = await answer(pilot, "OL", "X FAIL  OL: open")
            assert all(line.rstrip() in text for line in draw("FAIL", 2))
            text = await answer(pilot, "back", "ohm >")
            assert SECOND.question in text
            await answer(pilot, "180m", THIRD.question)
            await pilot.press("f2")
            await answer(pilot, "probe slipped", FOURTH.question)
            await pilot.press("f3")
            await until(pilot, THIRD.question)
            await pilot.press("escape")
            text = await until(pilot, "dead      2 of   37")
            assert "X fail" not in text
            assert "» SKIPPED 1" in text
    assert of_plan(job) == [
        (FIRST.id, 0.2),
        (SECOND.id, None),
        (SECOND.id, 0.18),
    ]
    (skipped,) = events(job, EventKind.SKIPPED)
    assert skipped["reason"] == "left out by Ann Example: probe slipped"
    assert events(job, EventKind.SESSION_ENDED) == [{"outcome": "finished"}]
    assert verify_record(job).ok


async def test_closed_in_the_middle_of_a_question(job):
    # the leak guard sees to it that no thread waits on, and the lock must be free
    with screens(job) as (app, desk):
        async with app.run_test(size=SIZE) as pilot:
            await to_the_first_ohms(pilot)
            await pilot.press("ctrl+c")
    assert not desk.dialogue.busy
    assert of_plan(job) == []
    JobRecord.open(job, clock=desk.session._bench.clock).close()


async def test_power_waits_for_the_shorts(job, monkeypatch):
    person = SoundHarness({"24V main to its ground": "3.1"})
    assert check_by_hand(monkeypatch, [str(job), "--stage", "dead"], person)[0] == 1
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            text = await until(pilot, "Next:")
            assert "Next: dead stage, 1 did not pass: is TB1-1 apart from TB1-4" in text
            await pilot.press("n")
            await until(pilot, "switch the supply off")
            await answer(pilot, "", "open every connector")
            await answer(pilot, "", "before ohms")
            await answer(pilot, "0", "touch the two leads together")
            await answer(pilot, "rel", "RED ")
            # what else was proved of the feed was proved before somebody worked on it, and is due again
            await answer(pilot, "OL", "dead stage, 11 to do")
    assert check_by_hand(monkeypatch, [str(job), "--stage", "dead"])[0] == 0
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await until(pilot, "Next: power stage")
            await pilot.press("n")
            text = await until(pilot, "type your name")
            assert "Dead circuits first" in text
            await answer(pilot, "", "Power comes on only after somebody has accepted them by name")
            await answer(pilot, "Ann", "switch the supply off")
            await answer(pilot, "", "open every connector")
            text = await answer(pilot, "", "switch the supply on")
            assert "BENCH TO BE: supply on; all connectors open" in text
            assert "set the supply to 24 V, current limit 1.9 A" in text
            await answer(pilot, "", "V >")
            text = await answer(pilot, "24.1", "● PASS")
            await pilot.press("escape")
            # nobody leaves for the board with the supply on
            await until(pilot, "Back to the board, with the supply off.")
            await answer(pilot, "", "power     1 of   23")
    assert [body["id"] for body in events(job, EventKind.SQUAWK_CLOSED)] == ["short:P2-1+P2-9+P1-1+P1-2+TB1-1+TB1-4"]


async def test_a_simulated_bench_runs_by_itself(job, tmp_path):
    faults = tmp_path / "faults.toml"
    faults.write_text('[[faults]]\nkind = "open_run"\nrun = "W8"\n', encoding="utf-8")
    bench = tmp_path / "bench.json"
    with start(ROOT / "profiles" / "starter", faults=faults, seed=1) as simulated:
        bench.write_text(json.dumps(simulated.description), encoding="utf-8")
        with screens(job, bench) as (app, desk):
            async with app.run_test(size=(200, 50)) as pilot:
                await until(pilot, "Next:")
                await pilot.press("n")
                text = await until(pilot, "X FAIL")
                assert all(line.rstrip() in text for line in draw("FAIL", 4, 2))
                await pilot.press("enter")
                text = await until(pilot, "Next: power stage")
                assert "W8 is open between P1-3 and P2-7" in text
                assert "1 open squawk" in text
                # no question is open: Esc takes effect when the step under way is done, and that one is recorded
                go, do = threading.Event(), desk.do
                desk.do = lambda step: go.wait(20) and do(step)
                await pilot.press("n")
                await until(pilot, "Measuring...")
                await pilot.press("escape")
                go.set()
                await until(pilot, "power     1 of   23")
                assert not desk.powered
                assert not desk.session._bench.supply.output_on


async def test_the_list_of_jobs(job, tmp_path):
    (tmp_path / "text.job").write_text("hello", encoding="utf-8")
    opened = []

    def opener(path):
        manager = screens(path)
        opened.append(manager)
        return manager.__enter__()[1]

    app = BenchApp(folder=tmp_path, listed=lambda: _job_lines(tmp_path), opener=opener)
    async with app.run_test(size=SIZE) as pilot:
        text = await until(pilot, "text.job")
        assert "starter.job  Starter: a position receiver and a recorder" in text
        assert "this is not a job record" in text
        await pilot.press("down", "enter")
        await until(pilot, lambda text: "text.job: this" in text)  # the rest may be on the next line, after a long path
        opened.clear()
        await pilot.press("up", "enter")
        await until(pilot, "Next: dead stage")
        assert isinstance(app.screen, BoardScreen)
    opened[0].__exit__(None, None, None)


async def test_no_jobs_says_how_to_start(tmp_path):
    app = BenchApp(folder=tmp_path, listed=list, opener=lambda path: None)
    async with app.run_test(size=SIZE) as pilot:
        text = await until(pilot, "There is no job in this folder yet.")
        assert "benchcheck demo" in text
        assert "benchcheck job start starter" in text


async def test_names_from_a_record_are_shown_escaped(tmp_path):
    line = JobLine(tmp_path / "a.job", "[red]Bay\x1b[2J\u202e 1[/red]", "used\x07")
    app = BenchApp(folder=tmp_path, listed=lambda: [line], opener=lambda path: None)
    async with app.run_test(size=SIZE) as pilot:
        text = await until(pilot, "a.job")
        assert "[red]Bay⟨U+001B⟩[2J⟨U+202E⟩ 1[/red]" in text
        assert "used⟨U+0007⟩" in text


@pytest.mark.parametrize("size", [(80, 24), (40, 12), (200, 50), (20, 5)])
async def test_any_size_and_a_change_of_it(job, size):
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await to_the_first_ohms(pilot)
            await pilot.resize_terminal(*size)
            await pilot.pause()
            if size == (40, 12):
                assert FIRST.red in text_of(app)  # too small for block letters
            await pilot.resize_terminal(*SIZE)
            await answer(pilot, "0.2", SECOND.question)


@pytest.mark.parametrize("size", [(40, 10), (39, 30), (20, 5)])
async def test_a_window_that_is_too_small_says_so_and_loses_nothing(job, size):
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await until(pilot, "Next:")
            await pilot.resize_terminal(*size)
            await until(pilot, "too small")
            await pilot.resize_terminal(*SIZE)
            await until(pilot, "Next:")
            await pilot.press("n")
            await until(pilot, "switch the supply off")
            await pilot.resize_terminal(*size)
            assert "switch the supply off" not in await until(pilot, "too small")
            await pilot.resize_terminal(*SIZE)
            await answer(pilot, "", "open every connector and push in every protector")


async def test_the_line_that_is_typed_in_is_seen_in_the_least_window(job):
    with screens(job) as (app, _):
        async with app.run_test(size=(LEAST_COLUMNS, LEAST_ROWS)) as pilot:
            await until(pilot, "Next:")
            await pilot.press("n")
            await until(pilot, "Enter when it is done")


async def test_a_skipped_step_shows_at_its_connectors(job):
    with screens(job) as (app, desk):
        async with app.run_test(size=SIZE) as pilot:
            await until(pilot, "Next:")
            await pilot.press("n")
            await until(pilot, "switch the supply off")
            await answer(pilot, "skip no time today", f"SKIPPED  {FIRST.question[:30]}")
            await pilot.press("escape")
            text = await until(pilot, "Next:")
            ref = ref_of(FIRST.red)
            (line,) = [line for line in text.splitlines() if line.startswith(f"{ref} ")]
            assert "? skipped" in line
            assert next(s for s in desk.board.plan.steps if desk.board.outcome(s.id)) == FIRST


async def test_a_reading_is_not_taken_for_the_name_that_accepts_the_cautions(job):
    with screens(job) as (app, desk):
        accepted = []
        desk.do = lambda step: accepted.append(desk.by_hand.accept_cautions(("Mind the supply.",))) or 1 // 0
        async with app.run_test(size=SIZE) as pilot:
            await until(pilot, "Next:")
            await pilot.press("n")
            await answer(pilot, "24.0", "'24.0' is no name")
            await answer(pilot, "24 V", "'24 V' is a reading, no name")
            assert accepted == []
            await answer(pilot, "quit", "Next:")


async def test_ctrl_c_is_an_interrupt(job):
    with screens(job) as (app, _):
        async with app.run_test(size=SIZE) as pilot:
            await until(pilot, "Next:")
            await pilot.press("ctrl+c")
            await pilot.pause()
        assert app.return_code == 130


async def press_n_and_wait(app):
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, "Next:")
        await pilot.press("n")
        await until(pilot, lambda text: app.crash is not None)


async def test_an_unforeseen_error_ends_the_program_and_is_kept(job, monkeypatch):
    with screens(job) as (app, desk):
        monkeypatch.setattr(desk, "do", lambda step: 1 // 0)
        with pytest.raises(ZeroDivisionError):
            await press_n_and_wait(app)
        assert isinstance(app.crash, ZeroDivisionError)
        app.crash = None


def test_the_terminal_is_left_as_it_was(job, tmp_path):
    for typed, code in ((b"q", 0), (b"\x03", 130), (b"n\x11", 0)):
        ours, theirs = pty.openpty()
        termios.tcsetwinsize(ours, (24, 80))
        before = termios.tcgetattr(theirs)
        process = subprocess.Popen(
            [sys.executable, "-m", "benchcheck", "job", "open", str(job), "--ambient", "20"],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": str(ROOT), "TERM": "xterm-256color", "NO_COLOR": "1"},
        )
        try:
            said = b""
            while b"Next" not in said:
                said += os.read(ours, 65536)
            os.write(ours, typed)
            # to the last byte: this terminal's end stays open here, so the program's end is what ends the reading
            while process.poll() is None:
                said += os.read(ours, 65536) if _readable(ours) else b""
            while _readable(ours):
                said += os.read(ours, 65536)
            assert process.returncode == code
            assert termios.tcgetattr(theirs) == before
        finally:
            process.kill()
            process.wait()
            os.close(theirs)
            os.close(ours)
        entered, left = said.rindex(b"\x1b[?1049h"), said.rindex(b"\x1b[?1049l")
        assert entered < left
        assert said.rindex(b"\x1b[?25h") > said.rindex(b"\x1b[?25l")  # the cursor is seen again
        assert not any(f";{code}m".encode() in said for code in ("31", "32", "33"))  # NO_COLOR
    assert verify_record(job).ok


def _readable(handle):
    return bool(select.select([handle], [], [], 0.05)[0])
