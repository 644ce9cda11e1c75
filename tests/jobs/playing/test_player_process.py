"""A player in a process of its own: what it delivers, what it obeys, and how it ends."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from frame_rows import batch_of
from hypothesis import given
from hypothesis import strategies as st
from played_apart import play_apart

from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.jobs.playing.frame_rows import Wanted
from benchcheck.jobs.playing.play_line import QUEUE, Bundles, Gone, PlayerLine
from benchcheck.jobs.playing.play_state import Command, Kind
from benchcheck.jobs.playing.player import Arrived, Status
from benchcheck.jobs.playing.player_process import PlayerProcess
from benchcheck.jobs.playing.playing import Delivered, Played, Playing
from benchcheck.jobs.playing.reel import Frames
from benchcheck.traffic.tallies.watch import IdKey
from benchcheck.words.errors import SetupError

MS = 1_000_000
START = 1_700_000_000_000_000_000
ROOT = Path(__file__).parents[3]
WAIT_S = 60.0  # until something must have come


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """10 s of 1,000 frames/s on two buses; a mark at second 4."""
    path = tmp_path_factory.mktemp("played") / "c.pcapng"
    with CaptureWriter(path) as writer:
        a, b = writer.add_bus("can1", 500_000), writer.add_bus("can2", 500_000)
        for second in range(10):
            if second == 4:
                writer.mark(START + 4000 * MS, "power_on")
            for k in range(1000):
                row = (START + (second * 1000 + k) * MS, 0, k % 16, 0, bytes((second, k % 256)))
                writer.write_frames((a, b)[k % 2], batch_of([row]))
    return path


def next_said(player: PlayerProcess, kind: type) -> object:
    """What it says next of that kind; what is of other kinds is passed over."""
    while True:
        said = player.receive(WAIT_S)
        assert said is not None, "waited in vain"
        if isinstance(said, kind):
            return said


def told(player: PlayerProcess, count: int) -> Status:
    """How it stands when it has obeyed so many commands and carried them out."""
    while True:
        said = next_said(player, Status)
        assert isinstance(said, Status)
        if said.told >= count:
            return said


def delivered(player: PlayerProcess) -> list[Frames]:
    """All frames, up to its end."""
    found = []
    while player.played is None:
        said = player.receive(WAIT_S)
        assert said is not None, "waited in vain"
        if isinstance(said, Delivered):
            found.append(said.frames)
    return found


def test_played_to_its_end(capture: Path) -> None:
    played = play_apart(Playing(capture, Wanted(ids=frozenset({IdKey(3, False)})), 1000.0))
    assert (played.frames, played.sent, played.not_sent, played.quit_at_s) == (630, 0, 0, None)
    assert played.lateness["median_ms"] is not None


@pytest.mark.parametrize("bundle_s", [0.0, 0.05])
def test_every_frame_is_delivered_once_with_its_place(capture: Path, bundle_s: float) -> None:
    with PlayerProcess(Playing(capture, Wanted(), 100.0, deliver=True, bundle_s=bundle_s)) as player:
        parts = delivered(player)
        assert player.played is not None
        assert player.played.frames == 10_000
        assert player.receive(WAIT_S) is None  # there is nothing behind the end
    at_ns = np.concatenate([part.at_ns for part in parts])
    assert np.array_equal(at_ns, np.arange(10_000) * MS)
    assert np.array_equal(np.concatenate([part.batch.time_ns for part in parts]), START + at_ns)
    assert np.array_equal(np.concatenate([part.batch.bus for part in parts]), np.arange(10_000) % 2)
    first = parts[0]
    assert (first.names, first.first_ns, bytes(first.batch.data[0, :2])) == (("can1", "can2"), START, b"\0\0")


def test_a_consumer_that_lags_loses_nothing(capture: Path) -> None:
    with PlayerProcess(Playing(capture, Wanted(), 1000.0, deliver=True)) as player:
        for _ in range(3):
            next_said(player, Delivered)  # reads some now and then, while the player has all of it due
            player.send(Command(Kind.FASTER))
        rest = delivered(player)
    assert sum(map(len, rest)) > 9000
    assert rest[-1].at_ns[-1] == 9999 * MS


def test_it_obeys(capture: Path) -> None:
    with PlayerProcess(Playing(capture, Wanted(), 1.0, deliver=True, paused=True, hold_at_end=True)) as player:
        first = next_said(player, Status)
        assert isinstance(first, Status)
        assert (first.paused, first.frames, first.at_ns) == (True, 0, 0)
        for command in (Command(Kind.FRAME), Command(Kind.TO, 8.5), Command(Kind.FRAME), Command(Kind.TO, 2)):
            player.send(command)
        one, other = next_said(player, Delivered), next_said(player, Delivered)
        assert isinstance(one, Delivered)
        assert isinstance(other, Delivered)
        assert (one.turn, one.frames.at_ns.tolist()) == (0, [0])
        assert (other.turn, other.frames.at_ns.tolist()) == (1, [8500 * MS])
        assert told(player, 4).at_ns == 2000 * MS
        player.send(Command(Kind.EVENT))
        assert next_said(player, Arrived) == Arrived(4000 * MS, "mark power_on")
        player.send(Command(Kind.TO, 9.9))
        player.send(Command(Kind.SPEED, 50))
        player.send(Command(Kind.GO_ON))
        while not (status := told(player, 8)).at_end:
            pass
        assert (status.paused, status.speed, status.at_ns, status.end_ns) == (True, 50, 9999 * MS, 9999 * MS)
        player.send(Command(Kind.QUIT))
        played = next_said(player, Played)
        assert isinstance(played, Played)
        assert (played.quit_at_s, played.frames) == (9.999, 102)
        player.send(Command(Kind.QUIT))  # of one that has ended, nothing
        assert player.receive(0.0) is None


def process_of(player: PlayerProcess) -> int:
    pid = player._process.pid
    assert pid is not None
    return pid


def is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_closing_it_ends_it_however_far_it_is(capture: Path) -> None:
    with PlayerProcess(Playing(capture)) as early:
        pid = process_of(early)
    assert not is_running(pid)
    with PlayerProcess(Playing(capture, deliver=True)) as player:
        pid = process_of(player)
        next_said(player, Delivered)
    assert not is_running(pid)


def test_it_ends_by_itself_when_nobody_is_there_any_more(capture: Path) -> None:
    with PlayerProcess(Playing(capture, deliver=True, hold_at_end=True)) as player:
        next_said(player, Delivered)
        player._line.close()
        player._process.join(WAIT_S)
        assert player._process.exitcode == 0


def test_a_player_that_dies_is_told_in_words(capture: Path) -> None:
    with PlayerProcess(Playing(capture, deliver=True)) as player:
        next_said(player, Delivered)
        os.kill(process_of(player), signal.SIGKILL)
        with pytest.raises(SetupError, match="ended before its time"):
            delivered(player)


def test_what_can_not_be_played_is_told_in_words(tmp_path: Path) -> None:
    with pytest.raises(SetupError, match="there is no such file"):
        play_apart(Playing(tmp_path / "none.pcapng"))


def test_a_capture_that_is_cut_plays_up_to_there(capture: Path, tmp_path: Path) -> None:
    path = tmp_path / "cut.pcapng"
    path.write_bytes(capture.read_bytes()[:100_001])
    played = play_apart(Playing(path, speed=1000.0))
    assert 0 < played.frames < 10_000
    assert any("damaged from byte" in note for note in played.notes)


UNDER_A_SCREEN = """
import sys
from pathlib import Path
from played_apart import play_apart
from benchcheck.jobs.playing.playing import Playing

class Screen:
    def write(self, text): pass
    def flush(self): pass
    def fileno(self): return -1  # as that of a Textual app says

if __name__ == "__main__":
    sys.stdout, sys.stderr, kept = Screen(), Screen(), sys.stdout
    print(play_apart(Playing(Path(sys.argv[1]), speed=1000.0)).frames, file=kept)
"""


def run_script(text: str, folder: Path, capture: Path) -> subprocess.CompletedProcess[str]:
    """A program of its own: what is started by a process of ours is begun from its main file."""
    script = folder / "script.py"
    script.write_text(text, encoding="ascii")
    return subprocess.run(
        [sys.executable, str(script), str(capture)],
        capture_output=True,
        text=True,
        check=False,
        timeout=WAIT_S,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(map(str, (ROOT, ROOT / "tests")))},
    )


def test_it_can_be_begun_under_a_screen(capture: Path, tmp_path: Path) -> None:
    done = run_script(UNDER_A_SCREEN, tmp_path, capture)
    assert (done.stdout, done.stderr, done.returncode) == ("10000\n", "", 0)


# --- the line, in this process -------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [1, 8, 1000])
def test_so_many_frames_are_under_way_and_no_more(size: int) -> None:
    frames = Frames(batch_of([(START, 0, 1, 0, bytes(8))] * size), np.zeros(size, np.int64), ("can1",), START)
    here, there = multiprocessing.Pipe()
    with here, there:
        line = PlayerLine(there)
        given = 0
        while line.ready:
            line.give(frames, 0)  # and never waits, with nobody who reads
            given += 1
            assert given * size < QUEUE + size
        assert given * (size + 40) > QUEUE
        here.send(QUEUE // 4 + size + 40)
        assert line.wait(WAIT_S) == []  # that there is room is no command, but ends the waiting
        assert line.ready
        assert line.wait(0.0) == ()


def test_bundles_beside_what_does_not_wait() -> None:
    now = 0

    def frames(at: int) -> Frames:
        return Frames(batch_of([(START + at, 0, at, 0, b"")]), np.array([at]), ("can1",), START)

    here, there = multiprocessing.Pipe()
    with here, there:
        bundles = Bundles(PlayerLine(there), 100, lambda: now)
        for at, turn in ((0, 0), (40, 0), (99, 0), (101, 0), (150, 0), (160, 1), (170, 1)):
            now = at
            bundles.give(frames(at), turn)
        bundles.tell(Arrived(170, None))
        found: list[object] = []
        while here.poll():
            said = here.recv()
            found.append((said[0], Frames.unpacked(said[1:]).at_ns.tolist()) if isinstance(said, tuple) else said)
    # the first at once; then when 100 are over, when it has gone elsewhere, and before anything is told
    assert found == [(0, [0]), (0, [40, 99, 101]), (0, [150]), (1, [160, 170]), Arrived(170, None)]


def test_printed_when_due_and_delivered_in_bundles(capture: Path, tmp_path: Path) -> None:
    done = run_script(BOTH, tmp_path, capture)
    assert (done.stderr.split(), done.returncode) == (["10000"], 0)
    assert len(done.stdout.splitlines()) == 10_000


BOTH = """
import sys
from pathlib import Path
from benchcheck.jobs.playing.player_process import PlayerProcess
from benchcheck.jobs.playing.playing import Delivered, Playing

if __name__ == "__main__":
    count = 0
    with PlayerProcess(Playing(Path(sys.argv[1]), speed=100.0, as_text=True, deliver=True, bundle_s=0.05)) as player:
        while player.played is None:
            said = player.receive(None)
            count += len(said.frames) if isinstance(said, Delivered) else 0
    print(count, file=sys.stderr)
"""


@given(st.lists(st.sampled_from(Kind), max_size=20))
def test_commands_come_in_turn(kinds: list[Kind]) -> None:
    here, there = multiprocessing.Pipe()
    with here, there:
        line, found = PlayerLine(there), []
        for kind in kinds:
            here.send(Command(kind, 1.5))
        while len(found) < len(kinds):
            found += line.wait(WAIT_S)
        assert found == [Command(kind, 1.5) for kind in kinds]


def test_the_other_side_is_gone() -> None:
    here, there = multiprocessing.Pipe()
    with there:
        here.close()
        line = PlayerLine(there)
        with pytest.raises(Gone):
            line.wait(None)
        with pytest.raises(Gone):
            line.tell("words")
