from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from benchcheck.bench.clock import Clock, FakeClock


def test_wall_time_is_rfc_3339_with_microseconds():
    # RFC 3339 section 5.6; 1 234 567 890 s is 2009-02-13T23:31:30Z, widely published
    assert FakeClock(wall_ns=1_234_567_890_000_031_999).utc() == "2009-02-13T23:31:30.000031Z"
    assert datetime.fromisoformat(Clock().utc()).tzinfo == UTC


def test_a_step_of_the_wall_clock_moves_no_stamp():
    clock = FakeClock(wall_ns=5_000)
    assert clock.stamp_ns() == 5_000
    clock.step_wall(3600)
    assert clock.stamp_ns() == 5_000
    clock.sleep(1.5)
    assert clock.stamp_ns() == 1_500_005_000
    assert clock.wall_ns() == 3_601_500_005_000


def test_the_boot_id_is_the_systems_own():
    source = Path("/proc/sys/kernel/random/boot_id")
    first, second = Clock(), Clock()
    assert first.boot_id
    if source.exists():
        assert first.boot_id == second.boot_id == source.read_text().strip()


def test_stamps_are_close_to_wall_time_and_grow():
    clock = Clock()
    first, second = clock.stamp_ns(), clock.stamp_ns()
    assert first <= second
    assert abs(first - clock.wall_ns()) < 60_000_000_000
