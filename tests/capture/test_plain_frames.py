"""Runs of plain frames, which go straight into columns, come out as they do when every frame is looked at."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest
from frame_rows import Row, batch_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from loops import WAYS, counted
from plain_pcapng import can_payload, interface, packet, read_independently, section
from test_capture_reader import frames_of

from benchcheck import compiled
from benchcheck.capture import pcapng_reader
from benchcheck.capture.packet_runs import find_uniform
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.capture.plain_frames import is_plain, looks_plain

START = 1_700_000_000_123_456_789
ODD = ("remote", "error", "beyond", "long", "late", "code", "fd", "number")


def block(rng: random.Random, k: int, order: str, kind: str = "") -> bytes:
    """A packet block of 48 bytes, as every classic frame of ours has; of a kind that is not plain, if one is named."""
    extended = rng.random() < 0.3
    can_id = rng.randrange(1 << 29) if extended else rng.randrange(0x800)
    flags = int(extended) | {"remote": 2, "error": 4, "code": 12 << 8, "fd": 8}.get(kind, 0)
    data = rng.randbytes(8 if kind in ("error", "code") else rng.randrange(9))
    length = 8 if kind == "code" else 9 if kind == "long" else len(data)
    stamp = START + k * 1000 if kind != "late" else (1 << 62) + 1
    payload = can_payload(0x800 if kind == "beyond" else can_id, flags, data, length, pad=8 - len(data))
    if kind == "beyond":
        payload = can_payload(0x800, 0, data, length, pad=8 - len(data))
    return packet(5 if kind == "number" else 0, stamp, payload, order)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 1 << 30), st.sampled_from("<>"), st.lists(st.sampled_from(ODD), max_size=2), st.integers(6, 9))
def test_a_run_gives_what_each_frame_gives(
    tmp_path: Path, seed: int, order: str, odd: list[str], resolution: int
) -> None:
    rng = random.Random(seed)
    kinds = odd + [""] * rng.choice((520, 900))
    rng.shuffle(kinds)
    path = tmp_path / "a.pcapng"
    blocks = [block(rng, k, order, kind) for k, kind in enumerate(kinds)]
    assert {len(each) for each in blocks} == {48}
    path.write_bytes(section(order) + interface(227, order, resolution=resolution) + b"".join(blocks))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compiled, "counting", None)
        patch.setattr(pcapng_reader, "is_plain", lambda run: False)
        wanted, other, _ = frames_of(path)
    for way in WAYS:
        with counted(way):
            found, reader, _ = frames_of(path)
        assert found == wanted
        assert (reader.bad_records, reader.first_ns, reader.last_ns) == (
            other.bad_records,
            other.first_ns,
            other.last_ns,
        )


def test_what_the_writer_writes_is_plain_and_read_as_an_independent_reader_does(tmp_path: Path) -> None:
    rng = random.Random(5)
    rows: list[Row] = []
    for k in range(3000):
        extended = rng.random() < 0.3
        can_id = rng.randrange(1 << 29) if extended else rng.randrange(0x800)
        rows.append((START + k * 5_000_000, 0, can_id, int(extended), rng.randbytes(rng.randrange(9))))
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path) as writer:
        writer.write_frames(writer.add_bus("can1"), batch_of(rows))
    independent = read_independently(path)  # python-pcapng
    for way, name, look in (("vectorised", "is_plain", is_plain), ("compiled", "looks_plain", looks_plain)):
        seen: list[bool] = []
        with pytest.MonkeyPatch.context() as patch, counted(way):
            patch.setattr(
                pcapng_reader, name, lambda *told, look=look, seen=seen: (seen.append(look(*told)), seen[-1])[1]
            )
            found, _, _ = frames_of(path)
        assert seen == [True]
        assert found == rows == independent


@given(st.lists(st.sampled_from((44, 48, 48, 48)), min_size=1, max_size=300), st.integers(1, 400))
def test_a_run_ends_where_another_length_begins(totals: list[int], at_most: int) -> None:
    rng = random.Random(len(totals))
    data = b""
    for total in totals:
        body = rng.randbytes(total - 12)
        data += (6).to_bytes(4, "little") + total.to_bytes(4, "little") + body + total.to_bytes(4, "little")
    words = np.frombuffer(data, np.uint32)
    run = find_uniform(words, 0, at_most)
    count = next((k for k, total in enumerate(totals) if total != totals[0]), len(totals))
    assert run is not None
    assert len(run) == min(count, at_most)
    rows = run.blocks
    assert run.any_bit.tolist() == np.bitwise_or.reduce(rows, axis=0).tolist()
    assert run.all_bit.tolist() == np.bitwise_and.reduce(rows, axis=0).tolist()
