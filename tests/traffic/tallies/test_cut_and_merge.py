"""Every tally: any cut into batches, and any tree of merges of consecutive parts, gives the digits of the whole."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict
from functools import cache
from typing import Any, Protocol, TypeVar

import numpy as np
import pytest
from frame_rows import Row, batch_of, cut
from hypothesis import given, settings
from hypothesis import strategies as st
from loops import WAYS, counted, way

from benchcheck.traffic.lines.line_tally import PROTOCOLS, LineTally
from benchcheck.traffic.summary import bus_json, duration_json, line_json, steps_json
from benchcheck.traffic.tallies.bus_tally import BusTally
from benchcheck.traffic.tallies.pieces import STEP_FORWARD_NS
from benchcheck.traffic.tallies.traffic_tally import TrafficTally
from benchcheck.traffic.tallies.watch import EXTENDED_MASK, IdKey, Match, MatchWatch, Watch, of_source_address
from benchcheck.words.frames import FrameBatch, FrameFlag

__all__ = ["way"]
pytestmark = pytest.mark.usefixtures("way")

MS = 1_000_000
S = 1_000_000_000
START = 1_700_000_000 * S
FD = (FrameFlag.FD | FrameFlag.BRS).value

INTERVALS = st.one_of(
    st.integers(0, 40 * MS),
    st.sampled_from([10 * MS, 10 * MS, 10 * MS, 0, 0, 5 * S, 100 * S, 3000 * S]),
    st.sampled_from([-1, -5 * S, -400 * S, STEP_FORWARD_NS, STEP_FORWARD_NS + 1, 10 * 365 * 86400 * S]),
)
IDS = st.sampled_from([(0x100, 0), (0x101, 0), (0x100, 1), (0x18FEF111, 1), (0x0CF00411, 1), (0x1234, 1)])
DATA = st.sampled_from([b"", b"\x00", b"\x01\x02", b"\x01\x03", bytes(8), b"\xff" * 8, b"\x07" + bytes(7)])
ERRORS = st.sampled_from(
    [(0x04, 0x04), (0x04, 0x10), (0x04, 0x40), (0x40, 0), (0x100, 0), (0x204, 0x01), (0, 0), (0x88, 0)]
)

WATCH = Watch(
    {IdKey(0x100, False): 15 * MS, IdKey(0x100, True): 0},
    {IdKey(0x100, False): "NAV", IdKey(0x101, False): "NAV"},
    (
        MatchWatch(of_source_address(0x11), "SONAR", 30 * MS),
        MatchWatch(Match(0x1234, EXTENDED_MASK, True, byte=0, value=1), "TIDE", 5 * MS),
        MatchWatch(Match(0x1234, EXTENDED_MASK, True, byte=1, value=2), "DRIVE"),
        MatchWatch(Match(0x100, 0x700, False), "OTHERS"),
    ),
)


@st.composite
def recordings(draw: st.DrawFn) -> FrameBatch:
    """Frames of all kinds on two buses: counters, remote and FD frames, error frames, steps of the clock."""
    rows: list[Row] = []
    lengths: list[int] = []
    time_ns = START
    wide = draw(st.booleans())
    for number, interval in enumerate(draw(st.lists(INTERVALS, min_size=1, max_size=40))):
        time_ns += interval
        bus = draw(st.sampled_from([0, 0, 0, 1]))
        kind = draw(st.sampled_from(["data", "data", "count", "remote", "error", "wide" if wide else "data"]))
        can_id, flags = draw(IDS)
        data = draw(DATA)
        if kind == "count":
            data = bytes([number & 255, 0])
        elif kind == "wide":
            flags, data = flags | FD, bytes(range(draw(st.integers(0, 3)), 48))[:32]
        elif kind == "error":
            can_id, trouble = draw(ERRORS)
            flags, data = FrameFlag.ERROR.value, bytes([0, trouble, 0, 0, 0, 0, number, 2 * number])
        elif kind == "remote":
            flags, data = flags | FrameFlag.REMOTE.value, b""
        rows.append((time_ns, bus, can_id, flags, data))
        lengths.append(3 if kind == "remote" else len(data))
    return batch_of(rows, lengths)


class Mergeable(Protocol):
    def merge(self, later: Any, /) -> None: ...


T = TypeVar("T", bound=Mergeable)


def merged(parts: Sequence[T], draw: st.DataObject) -> T:
    """The tally of all parts, neighbours merged in any order."""
    rest = list(parts)
    while len(rest) > 1:
        left = draw.draw(st.integers(0, len(rest) - 2))
        rest[left].merge(rest.pop(left + 1))
    return rest[0]


def cuts(draw: st.DataObject, size: int) -> list[tuple[int, int]]:
    places = sorted(draw.draw(st.lists(st.integers(0, size), max_size=7)))
    return list(zip([0, *places], [*places, size], strict=True))


def digits(tally: TrafficTally) -> str:
    """All that a tally of buses can say."""
    names = {number: f"can{number}" for number in tally.buses}
    said: dict[str, Any] = {**duration_json(tally), "steps": steps_json(tally, names), "buses": {}}
    for number, name in names.items():
        bus = tally.buses[number]
        said["buses"][name] = [
            bus_json(tally, number, name, 250_000, 1_000_000),
            all_of(bus),
        ]
    return json.dumps(said, default=str)


def all_of(bus: BusTally) -> dict[str, Any]:
    return {
        "ids": [(key.text, asdict(source)) for key, source in bus.ids.items()],
        "units": {unit: asdict(source) for unit, source in sorted(bus.groups.items())},
        "matches": [None if source is None else asdict(source) for source in bus.matches],
        "payloads": [repr(bus.payload(key)) for key in bus.ids],
        "windows": {w: sorted(bus.load_windows.by_number(w).items()) for w in (7 * MS, 70 * MS, S, 60 * S)},
        "silences": [bus.silence_threshold_ns(), bus.silences()],
        "steps": bus.clock_steps,
        "errors": vars(bus.errors),
        "pieces": bus.pieces.sums(),
        "rest": [bus.frames, bus.error_frames, bus.nominal_bits, bus.data_rate_bits, bus.recorded_ns, bus.latest_ns],
    }


def traffic(origin_ns: int | None = None) -> TrafficTally:
    return TrafficTally(origin_ns, {0: WATCH, 1: WATCH}, window_ns=7 * MS)


@settings(max_examples=40, deadline=None)
@given(recordings(), st.data())
def test_buses(batch: FrameBatch, draw: st.DataObject) -> None:
    whole = traffic()
    whole.update(batch)
    piecewise, parts = traffic(), []
    for start, end in cuts(draw, len(batch)):
        piecewise.update(cut(batch, start, end))
        assert piecewise.frames >= 0  # looking makes it take in what waits
        part = traffic(int(batch.time_ns[0]))
        middle = draw.draw(st.integers(start, end))
        part.update(cut(batch, start, middle))
        part.update(cut(batch, middle, end))
        if draw.draw(st.booleans()):
            digits(part)  # looking at it changes nothing
        parts.append(part)
    assert digits(piecewise) == digits(whole)
    assert digits(merged(parts, draw)) == digits(whole)


@settings(max_examples=60)
@given(recordings(), st.data())
def test_both_ways_of_counting_say_the_same(batch: FrameBatch, draw: st.DataObject) -> None:
    """Batch by batch one or the other, in one tally: what they keep is the same."""
    said = set()
    for pick in (st.just("compiled"), st.just("vectorised"), st.sampled_from(WAYS)):
        tally = traffic()
        for start, end in cuts(draw, len(batch)):
            with counted(draw.draw(pick)):
                tally.update(cut(batch, start, end))
                assert tally.frames >= 0  # looking makes it take in what waits
        said.add(digits(tally))
    assert len(said) == 1


@cache
def many_frames(count: int) -> tuple[FrameBatch, Watch]:
    """Thousands of identifiers at once."""
    random = np.random.default_rng(5)
    ids = random.integers(0, 1 << 29, 3000).astype(np.uint32)[np.minimum(random.geometric(0.003, count), 2999)]
    batch = FrameBatch(
        START + np.cumsum(random.integers(0, 300_000, count)),
        np.zeros(count, np.uint16),
        ids,
        np.ones(count, np.uint16),
        np.full(count, 8, np.uint8),
        random.integers(0, 2, (count, 8), dtype=np.uint8),
    )
    return batch, Watch({IdKey(int(can_id), True): 20 * MS for can_id in ids[:50]}, {IdKey(int(ids[0]), True): "NAV"})


def tally_of_many(count: int, origin_ns: int | None = None) -> TrafficTally:
    return TrafficTally(origin_ns, {0: many_frames(count)[1]}, window_ns=7 * MS)


@cache
def digits_of_many(count: int, way: str) -> str:
    """Of all frames in one batch, counted in the way that is set."""
    tally = tally_of_many(count)
    tally.update(many_frames(count)[0])
    return digits(tally)


@pytest.mark.parametrize(("count", "size"), [(600, 1), (600, 100), (70_000, 4099), (70_000, 65_536)])
def test_many_frames_piece_by_piece(way: str, count: int, size: int) -> None:
    """Batches longer and shorter than what is handled together."""
    batch, pieces = many_frames(count)[0], tally_of_many(count)
    for start in range(0, count, size):
        pieces.update(cut(batch, start, start + size))
    assert digits(pieces) == digits_of_many(count, way)


@pytest.mark.parametrize("count", [600, 70_000])
def test_many_frames_in_two_parts(way: str, count: int) -> None:
    batch = many_frames(count)[0]
    first, rest = tally_of_many(count), tally_of_many(count, int(batch.time_ns[0]))
    middle = count // 3
    first.update(cut(batch, 0, middle))
    rest.update(cut(batch, middle, count))
    first.merge(rest)
    assert digits(first) == digits_of_many(count, way)


CHUNKS = st.lists(
    st.tuples(
        st.one_of(
            st.sampled_from(
                [
                    b"$GPBOD,,T,,M,,*47\r\n",
                    b"$GPBOD,,T,,M,,*48\r\n",
                    b"$GPZDA,1\n",
                    b"DEPTH 1\n",
                    b"\r",
                    b"\n",
                    b"\xff\x00",
                ]
            ),
            st.binary(max_size=30),
            st.text("$*,A4\r\n", max_size=20).map(str.encode),
        ),
        st.sampled_from([0, 1, 10 * MS, 150 * MS, S, 4 * S, -S, STEP_FORWARD_NS + 1]),
        st.sampled_from([None, 0, 2]),
    ),
    max_size=20,
)


def line_digits(line: LineTally) -> str:
    line.flush()
    said = line_json("tap", line) | {"all": {kind: asdict(found) for kind, found in line.types.items()}}
    return json.dumps(
        said | {"seconds": sorted(line.bytes_by_second.items()), "times": [line.first_ns, line.last_ns, line.origin_ns]}
    )


@settings(max_examples=80, deadline=None)
@given(CHUNKS, st.sampled_from(PROTOCOLS), st.data())
def test_lines(chunks: list[tuple[bytes, int, int | None]], protocol: str, draw: st.DataObject) -> None:
    assert_lines(chunks, protocol, draw, lambda origin_ns: LineTally(protocol, origin_ns))


@settings(max_examples=30, deadline=None)
@given(CHUNKS, st.sampled_from(PROTOCOLS), st.data())
def test_lines_of_more_types_than_are_kept(
    chunks: list[tuple[bytes, int, int | None]], protocol: str, draw: st.DataObject
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("benchcheck.traffic.lines.line_tally._MOST_TYPES", 1)
        assert_lines(chunks, protocol, draw, lambda origin_ns: LineTally(protocol, origin_ns))


def assert_lines(
    chunks: list[tuple[bytes, int, int | None]],
    protocol: str,
    draw: st.DataObject,
    made: Callable[[int | None], LineTally],
) -> None:
    stamps = np.cumsum([START, *(chunk[1] for chunk in chunks)]).tolist()[1:]
    origin = next((at for at, chunk in zip(stamps, chunks, strict=True) if chunk[0]), START)
    whole = made(None)
    for at, (data, _, errors) in zip(stamps, chunks, strict=True):
        whole.feed(data, at, framing_errors=errors)
    parts = []
    for number, (start, end) in enumerate(cuts(draw, len(chunks))):
        part = made(None if number == 0 and draw.draw(st.booleans()) else origin)
        for at, (data, _, errors) in zip(stamps[start:end], chunks[start:end], strict=True):
            middle = draw.draw(st.integers(0, len(data)))  # a chunk in two pieces has the same stamp twice
            part.feed(data[:middle], at, framing_errors=errors)
            part.feed(data[middle:], at)
        parts.append(part)
    assert line_digits(merged(parts, draw)) == line_digits(whole)


@pytest.mark.parametrize("wide_first", [True, False])
def test_parts_with_and_without_long_frames(wide_first: bool) -> None:
    short: list[Row] = [(START + k * MS, 0, 0x100, 0, bytes([k])) for k in range(5)]
    long: list[Row] = [(START + (10 + k) * MS, 0, 0x100, FD, bytes([k]) + bytes(19)) for k in range(5)]
    rows = sorted([*short, *((row[0] - 20 * MS * wide_first, *row[1:]) for row in long)])
    origin = rows[0][0]
    whole, first, second = traffic(), traffic(origin), traffic(origin)
    whole.update(batch_of(rows))
    first.update(batch_of(rows[:5]))
    second.update(batch_of(rows[5:]))
    first.merge(second)
    assert digits(first) == digits(whole)
