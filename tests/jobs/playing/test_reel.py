"""The frames that are wanted, from any place: against a plain list."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from listed_index import MS, START, index_of, plain

from benchcheck.capture.recording import Mark
from benchcheck.jobs.playing.frame_rows import Wanted
from benchcheck.jobs.playing.reel import Frames, Reel
from benchcheck.jobs.playing.replay import Part
from benchcheck.traffic.tallies.watch import IdKey


def rest_of(reel: Reel) -> list[int]:
    """The played milliseconds of all frames that are left."""
    found: list[int] = []
    while reel.head_ns is not None:
        frames = reel.take(1 << 62, 1000)
        found += (frames.at_ns // MS).tolist()
    return found


@settings(max_examples=80)
@given(
    st.lists(st.tuples(st.integers(0, 500), st.integers(0, 1), st.integers(0, 3)), min_size=1, max_size=40),
    st.integers(1, 9),
    st.sampled_from([frozenset[str](), frozenset({"can2"})]),
    st.sampled_from([None, frozenset({IdKey(1, False), IdKey(2, False)})]),
    st.lists(st.tuples(st.integers(-10, 600), st.integers(0, 100), st.integers(1, 5)), max_size=10),
)
def test_from_any_place(
    rows: list[tuple[int, int, int]],
    slice_frames: int,
    buses: frozenset[str],
    ids: frozenset[IdKey] | None,
    deeds: list[tuple[int, int, int]],
) -> None:
    rows = sorted(rows)
    index = index_of(*(rows[k : k + slice_frames] for k in range(0, len(rows), slice_frames)))
    zero = rows[0][0]
    kept = [
        (at - zero, bus, can_id)
        for at, bus, can_id in rows
        if (not buses or bus == 1) and (ids is None or can_id in (1, 2))
    ]
    reel = Reel(index, Wanted(buses=buses, ids=ids))
    place = 0
    for to, ahead, most in deeds:
        assert reel.head_ns == (kept[place][0] * MS if place < len(kept) else None)
        if reel.head_ns is not None:
            upto = reel.head_ns + ahead * MS
            frames = reel.take(upto, most)
            assert 1 <= len(frames) <= most
            found = list(zip((frames.at_ns // MS).tolist(), frames.batch.bus, frames.batch.can_id, strict=True))
            assert found == kept[place : place + len(frames)]
            assert frames.at_ns[-1] <= upto
            assert (frames.names, frames.first_ns) == (("can1", "can2"), START + zero * MS)
            place += len(frames)
        reel.go_to(to * MS)
        place = bisect_left(kept, (to, -1, -1))
    assert rest_of(reel) == [at for at, _, _ in kept[place:]]
    assert reel.all_known


def test_a_part_has_its_beginning_and_its_end() -> None:
    reel = Reel(plain(0, 100, 200, 300, 400, 500), Wanted(Part(0.1, 0.4)))
    assert rest_of(reel) == [100, 200, 300]
    assert reel.last_ns == 400 * MS
    reel.go_to(0)
    assert reel.head_ns == 100 * MS
    reel.go_to(400 * MS)
    assert reel.head_ns is None


def test_what_lies_behind_the_part_is_not_looked_at() -> None:
    index = plain(*range(0, 1000, 10))
    reel = Reel(index, Wanted(Part(None, 0.1)))
    assert len(rest_of(reel)) == 10
    assert len(index.slices) < 10


def test_where_the_clock_was_set_back_it_goes_on_in_played_time() -> None:
    # by the stamps (second 0, 5, then 1 again) all are of the part; by played time the last two come after second 5
    assert rest_of(Reel(plain(0, 5000, 1000, 1010), Wanted(Part(None, 5.5)))) == [0, 5000, 5000, 5010]
    assert rest_of(Reel(plain(0, 5000, 1000, 1010), Wanted(Part(None, 4.5)))) == [0]


def test_nothing_wanted_and_nothing_there() -> None:
    assert Reel(plain(0, 1), Wanted(ids=frozenset())).head_ns is None
    empty = Reel(index_of(), Wanted())
    assert (empty.head_ns, empty.last_ns, empty.all_known) == (None, 0, True)


def test_the_next_event_of_the_part() -> None:
    def reel(part: Part) -> Reel:
        mark = Mark(START + 2500 * MS, "power_on")
        return Reel(index_of([(0, 0, 1), (100, 0, 1)], [(2000, 0, 1)], mark, [(2600, 0, 1)]), Wanted(part))

    event = reel(Part()).next_event(0)
    assert event is not None
    assert (event.at_ns, event.text) == (100 * MS + 1, "1.900 s without a frame")
    event = reel(Part()).next_event(event.at_ns)
    assert event is not None
    assert (event.at_ns, event.text) == (2500 * MS, "mark power_on")
    assert reel(Part()).next_event(2500 * MS) is None
    assert reel(Part(None, 2.5)).next_event(1000 * MS) is None


def test_frames_go_through_a_pipe_as_they_are() -> None:
    reel = Reel(index_of([(0, 0, 1), (1, 1, 2), (2, 0, 3)]), Wanted())
    frames = reel.take(MS, 10)
    back = Frames.unpacked(frames.packed())
    assert (back.names, back.first_ns, len(back)) == (frames.names, frames.first_ns, 2)
    assert np.array_equal(back.at_ns, frames.at_ns)
    for column in ("time_ns", "bus", "can_id", "flags", "length", "data"):
        one, other = getattr(back.batch, column), getattr(frames.batch, column)
        assert np.array_equal(one, other)
        assert (one.dtype, one.shape) == (other.dtype, other.shape)
