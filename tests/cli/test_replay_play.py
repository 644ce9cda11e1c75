"""A replay that is played, whole: by keys at a terminal, by lines, broken off, with nobody there."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest
from at_a_terminal import WITHIN_S, AtATerminal
from frame_rows import Row, batch_of

from benchcheck.capture.logs import open_recording
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.jobs.playing.frame_rows import Wanted, frame_rows, row_text
from benchcheck.words.errors import ExitCode

MS = 1_000_000
START = 1_700_000_000_000_000_000
FIRST_MS = 505.938
STEPPED = ("--speed", "1", "--frames", "--paused")
PLAYED = ("--speed", "0.01")  # for ten minutes, where nobody ends it


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A frame each 10 ms from second 0.505938 to 6.505938; marks at the seconds 0 and 4."""
    path = tmp_path_factory.mktemp("played") / "c.pcapng"
    rows: list[Row] = [
        (START + round((FIRST_MS + 10 * k) * MS), 0, 0x100 + k % 8, 0, k.to_bytes(2, "big")) for k in range(601)
    ]
    with CaptureWriter(path) as writer:
        bus = writer.add_bus("can1", 250_000)
        writer.mark(START, "power_on")
        writer.write_frames(bus, batch_of(rows[:350]))
        writer.mark(START + 4000 * MS, "bus_judged")
        writer.write_frames(bus, batch_of(rows[350:]))
    return path


@pytest.fixture(scope="module")
def whole(capture: Path) -> list[str]:
    """The lines of its frames."""
    with open_recording(capture) as recording:
        return [row_text(row) for row in frame_rows(recording, Wanted())]


def at(lines: Sequence[str], second: float) -> str:
    """The first of these frames at that second or later."""
    return next(line for line in lines if float(line.split()[0]) >= second)


def by_lines(capture: Path, text: str, *words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "benchcheck", "replay", str(capture), *map(str, words or STEPPED)],
        input=text,
        capture_output=True,
        text=True,
        timeout=WITHIN_S,
        check=False,
    )


def children(pid: int) -> list[int]:
    path = Path(f"/proc/{pid}/task/{pid}/children")
    if not path.exists():
        pytest.skip("this system does not list child processes")
    return [int(word) for word in path.read_text(encoding="ascii").split()]


def all_ended(pids: Sequence[int]) -> bool:
    """Whether none of them runs any more, after a while."""
    deadline = time.monotonic() + WITHIN_S
    for pid in pids:
        while True:
            try:
                state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
            except (FileNotFoundError, ProcessLookupError):
                break
            if state == "Z":
                break
            if time.monotonic() > deadline:
                return False
    return True


# --- keys at a terminal --------------------------------------------------------------------------------------------


def test_keys_at_a_terminal(capture: Path, whole: list[str]) -> None:
    with AtATerminal("replay", capture, *STEPPED, stdout_is_pipe=True) as program:
        program.until("say the keys again")
        program.until("paused at second 0.505938 of 6.5")
        program.type("nn")
        program.until("paused at second 0.515938")
        program.type("3t")
        program.until("paused at second 3 of")
        program.type("n")
        program.until("paused at second 3.00593")
        program.type("1b")
        program.until("paused at second 2.00593")
        program.type("nq")
        code, shown = program.end()
        assert code == ExitCode.PASS
        assert "4 frames played, and quit at second 2.006" in shown
        assert program.process.stdout is not None
        printed = program.process.stdout.read().decode().splitlines()
    assert printed == [*whole[:2], at(whole, 3), at(whole, 2.005938)]


def test_it_plays_goes_on_and_changes_its_speed_to_its_end(capture: Path, whole: list[str]) -> None:
    with AtATerminal("replay", capture, *PLAYED, "--from", "6", "--frames", stdout_is_pipe=True) as program:
        program.until("at speed 0.01")
        program.type("p")
        program.until("paused at second 6.0")
        program.type("50x")
        program.type("++-")
        program.type("p")
        code, shown = program.end()
        assert code == ExitCode.PASS
        assert re.search(r"late by [\d.]+ ms in the median", shown)
        assert program.process.stdout is not None
        printed = program.process.stdout.read().decode().splitlines()
    assert printed == whole[whole.index(at(whole, 6)) :]


def test_to_the_next_mark_or_gap_and_what_is_typed_is_shown(capture: Path) -> None:
    with AtATerminal("replay", capture, "--speed", "1", "--paused", "--id", "101") as program:
        program.until("paused at second 0.515938")
        program.type("12")
        program.until("   12")
        program.type("e")
        program.until("At second 4.000000: mark bus_judged.")
        program.until("paused at second 4 of")
        program.type("e")
        program.until("No mark and no gap comes after second 4.000000.")
        program.type("t")
        program.until("to needs a number")
        program.type("?")
        program.until("say the keys again")
        program.type("q")
        assert program.end()[0] == ExitCode.PASS


@pytest.mark.parametrize("term", ["xterm", "dumb"])
def test_frames_on_the_same_terminal_are_not_drawn_over(capture: Path, term: str) -> None:
    with AtATerminal("replay", capture, *STEPPED, term=term) as program:
        program.until("say the keys again\n")
        program.type("n")
        shown = program.until("says 00 00\n") + program.until("paused at second 0.505938 of 6.5\n")
        assert "\r" not in shown
        program.type("q")
        assert program.end()[0] == ExitCode.PASS


def test_lines_at_a_terminal_where_it_is_to_be_plain(capture: Path) -> None:
    with AtATerminal("replay", capture, *STEPPED, "--plain", stdout_is_pipe=True) as program:
        program.until("Lines that are obeyed")
        program.type("next\n")
        program.until("paused at second 0.505938 of 6.5\n")
        program.type("to 3\n")
        shown = program.until("paused at second 3 of 6.5\n")
        assert "\r" not in shown
        program.type("what\n")
        program.until("'what' is not known")
        program.type("quit\n")
        assert program.end()[0] == ExitCode.PASS


# --- lines from a pipe ---------------------------------------------------------------------------------------------


def test_lines_from_a_pipe_and_nothing_but_the_outcome_on_stderr(capture: Path, whole: list[str]) -> None:
    done = by_lines(capture, "next\n\nnext\nto 3\nn\nback 1\nnext\nquit\nnext\n")
    assert done.returncode == ExitCode.PASS
    assert done.stdout.splitlines() == [*whole[:2], at(whole, 3), at(whole, 2.005938)]
    assert done.stderr == "4 frames played, and quit at second 2.006\n"


def test_when_the_lines_end_in_a_pause_it_ends(capture: Path, whole: list[str]) -> None:
    done = by_lines(capture, "next\nnonsense\nnext")
    assert done.returncode == ExitCode.PASS
    assert done.stdout.splitlines() == whole[:2]
    assert "'nonsense' is not known" in done.stderr
    assert "Nobody is left to have it go on: it ends here." in done.stderr


def test_when_the_lines_end_while_it_plays_it_plays_on(capture: Path, whole: list[str]) -> None:
    done = by_lines(capture, "next\nspeed 100\ngo\n")
    assert done.stdout.splitlines() == whole
    assert "quit" not in done.stderr


def test_a_pause_belongs_to_what_is_played(capture: Path) -> None:
    done = by_lines(capture, "", "--frames", "--paused")
    assert done.returncode == ExitCode.USAGE
    assert "--speed" in done.stderr


# --- broken off ----------------------------------------------------------------------------------------------------


def test_ctrl_c_at_a_terminal(capture: Path) -> None:
    with AtATerminal("replay", capture, *PLAYED) as program:
        program.until("at speed 0.01")
        processes = children(program.process.pid)
        assert processes
        program.type("\x03")
        code, shown = program.end()
        assert code == ExitCode.INTERRUPTED
        assert re.search(r"It had played \d+ frames?, up to second 0\.5\d\d\.", shown)
        assert "Interrupted" in shown
        assert "Traceback" not in shown
        assert all_ended(processes)


@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGHUP])
def test_ended_from_outside_the_terminal_is_as_it_was(capture: Path, ending: signal.Signals) -> None:
    with AtATerminal("replay", capture, *PLAYED) as program:
        program.until("at speed 0.01")
        processes = children(program.process.pid)
        program.process.send_signal(ending)
        assert program.end()[0] == ExitCode.INTERRUPTED
        assert all_ended(processes)


def test_killed_the_player_ends_by_itself(capture: Path) -> None:
    with AtATerminal("replay", capture, *PLAYED) as program:
        program.until("at speed 0.01")
        processes = children(program.process.pid)
        program.process.kill()
        program.process.wait()
        assert all_ended(processes)


def started(*words: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "benchcheck", *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def test_a_closed_pipe_ends_it_in_words(capture: Path) -> None:
    with started("replay", capture, "--speed", "1", "--frames") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        processes = children(process.pid)
        assert processes
        process.stdout.close()
        said = process.stderr.read()
    assert process.returncode == ExitCode.SETUP
    assert "whoever read the frames has closed the output" in said
    assert "Traceback" not in said
    assert all_ended(processes)


def test_a_pipe_that_nobody_reads_can_be_broken_off(capture: Path) -> None:
    """More frames than a pipe holds: the player waits for the reader, and does not hear that it is to quit."""
    with started("replay", capture, "--speed", "1000", "--frames") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        processes = children(process.pid)
        os.killpg(process.pid, signal.SIGINT)
        said = process.stderr.read()
        process.stdout.close()
    assert process.returncode == ExitCode.INTERRUPTED
    assert "Interrupted" in said
    assert "Traceback" not in said
    assert all_ended(processes)
