"""Finding a line's speed: what a receiver makes of the same levels at each speed comes from the simulator's own garbling."""

from __future__ import annotations

import pytest

from benchcheck.bench.clock import FakeClock
from benchcheck.bench.lines.serial_line import HeardBytes
from benchcheck.jobs.listening.find_speed import find_speed, trial_s
from benchcheck.simulator.lines import garble
from benchcheck.traffic.lines.line_speed import SpeedState, Trial
from benchcheck.traffic.lines.line_tally import LineTally
from benchcheck.words.errors import SetupError

SENTENCES = b"$HCHDG,101.1,,,7.1,W*3C\r\n$GPBOD,,T,,M,,*47\r\n"


class Line:
    """A port behind which a talker speaks once a second; `refused`: speeds that the port does not take."""

    def __init__(
        self, clock: FakeClock, sent: bytes, baud: int, framing: str = "8N1", refused: tuple[int, ...] = ()
    ) -> None:
        self.clock, self.sent, self.at = clock, sent, (baud, framing)
        self.refused = refused
        self.speed: tuple[int, str] = (0, "")
        self._next_ns = 0

    def set_speed(self, baud: int, framing: str) -> None:
        if baud in self.refused or framing[0] != "8":
            raise SetupError("does not take it")
        self.speed = (baud, framing)
        self._next_ns = self.clock.monotonic_ns() + 300_000_000

    def drain(self) -> list[HeardBytes]:
        now_ns = self.clock.monotonic_ns()
        if not self.sent or now_ns < self._next_ns:
            return []
        self._next_ns += 1_000_000_000
        heard = self.sent if self.speed[0] == self.at[0] else garble(self.sent, self.at[0], self.speed[0])
        return [HeardBytes(now_ns, heard)]


def found(line: Line, planned: int = 4800, **options: object) -> tuple[SpeedState, int | None, list[str]]:
    tried: list[Trial] = []
    answer = find_speed(line, line.clock, "nmea0183", planned, "8N1", on_trial=tried.append, **options)  # type: ignore[arg-type]
    return answer.state, None if answer.best is None else answer.best.baud, [trial.name for trial in tried]


@pytest.mark.parametrize("baud", [4800, 9600, 38400, 115200, 1200])
def test_the_speed_is_found_and_the_listener_left_at_it(baud: int) -> None:
    line = Line(FakeClock(), SENTENCES * 2, baud)
    state, best, tried = found(line)
    assert (state, best) == (SpeedState.FOUND, baud)
    assert line.speed == (baud, "8N1")
    assert tried[0] == "4800 8N1"
    assert tried[-1] == f"{baud} 8N1"


def test_a_silent_line_is_given_up_soon_and_left_as_planned() -> None:
    clock = FakeClock()
    line = Line(clock, b"", 9600)
    begin = clock.monotonic_ns()
    state, best, tried = found(line)
    assert (state, best, len(tried)) == (SpeedState.SILENT, None, 2)
    assert line.speed == (4800, "8N1")
    assert clock.monotonic_ns() - begin < 2.2 * trial_s(1.0) * 1e9


def test_what_makes_sense_nowhere_is_unclear() -> None:
    line = Line(FakeClock(), bytes(range(128, 256)) * 2, 4800)
    line.at = (31_250, "8N1")
    state, best, tried = found(line)
    assert (state, best) == (SpeedState.UNCLEAR, None)
    assert len(tried) >= 8


def test_speeds_that_the_port_refuses_are_passed_over() -> None:
    line = Line(FakeClock(), SENTENCES * 2, 38400, refused=(9600, 115200))
    state, best, tried = found(line)
    assert (state, best) == (SpeedState.FOUND, 38400)
    assert "9600 8N1" not in tried


def test_of_a_protocol_that_only_a_profile_knows_readable_lines_are_looked_for() -> None:
    line = Line(FakeClock(), b"LEVEL 1.52 m\r\nBATT 12.1\r\n" * 3, 9600)
    answer = find_speed(line, line.clock, "tide", 4800, "8N1")  # type: ignore[arg-type]
    assert answer.best is not None
    assert (answer.state, answer.best.baud) == (SpeedState.FOUND, 9600)
    assert answer.text.startswith("looks like 9600 8N1, profile says 4800 8N1: 6 good lines")


def test_what_was_heard_already_is_not_listened_to_again() -> None:
    line = Line(FakeClock(), SENTENCES * 2, 9600)
    tally = LineTally("nmea0183")
    tally.feed(b"\x80\x81" * 40)
    told: list[int] = []
    tried: list[str] = []
    answer = find_speed(
        line,  # type: ignore[arg-type]
        line.clock,
        "nmea0183",
        4800,
        "8N1",
        heard=Trial(4800, "8N1", tally, 1.0),
        on_trial=lambda trial: tried.append(trial.name),
        on_speed=told.append,
    )
    assert answer.state is SpeedState.FOUND
    assert tried == ["9600 8N1"]
    assert told == [9600]


def test_what_was_still_on_its_way_at_the_speed_before_is_passed_over() -> None:
    """An adapter hands on for a moment what came before the change."""

    class Late(Line):
        late_ns = 0

        def set_speed(self, baud: int, framing: str) -> None:
            super().set_speed(baud, framing)
            self.late_ns = self.clock.monotonic_ns() + 50_000_000

        def drain(self) -> list[HeardBytes]:
            now_ns = self.clock.monotonic_ns()
            if not self.late_ns or now_ns < self.late_ns:
                return super().drain()
            self.late_ns = 0
            return [HeardBytes(now_ns, bytes(range(128, 228))), *super().drain()]

    line = Late(FakeClock(), SENTENCES * 2, 38400)
    state, best, _ = found(line)
    assert (state, best) == (SpeedState.FOUND, 38400)


def test_it_can_be_broken_off() -> None:
    line = Line(FakeClock(), SENTENCES * 2, 38400)
    state, _, tried = found(line, is_over=lambda: line.clock.monotonic_ns() > 1_500_000_000)
    assert state is not SpeedState.FOUND
    assert len(tried) <= 2
