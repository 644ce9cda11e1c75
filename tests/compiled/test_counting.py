"""The compiled loops refuse what they can't work on, instead of reaching beyond it. What they count is tested where it is counted: tests/traffic."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck import compiled
from benchcheck.traffic.tallies.payload_table import PayloadTable
from benchcheck.traffic.tallies.source_table import SourceTable


@pytest.fixture(scope="module")
def counting() -> ModuleType:
    if compiled.counting is None:
        assert shutil.which("cc") is None, "there is a compiler: the loops should have been built"
        pytest.skip("no C compiler")
    return compiled.counting


def arguments(rows: int = 4) -> dict[str, list[Any]]:
    """Sound arguments of every function."""
    can_id, flags, length = np.full(rows, 0x123, np.uint32), np.zeros(rows, np.uint16), np.full(rows, 8, np.uint8)
    data = np.zeros((rows, 8), np.uint8)
    slots = np.zeros(rows, np.int64)
    time_ns = np.arange(rows, dtype=np.int64)

    def made() -> Any:
        return np.zeros(rows, np.int64)

    sources, payload = SourceTable(), PayloadTable()
    for table in (sources, payload):
        table.grow(2)
    return {
        "wire_bit_parts": [can_id, flags, length, data, made(), made()],
        "plain_frames": [
            np.tile(np.array([6, 48, 0, 0, 5, 16, 16, 0x23010000, 8, 1, 2, 48], np.uint32), rows),
            *(time_ns.copy(), can_id.copy(), flags.copy(), length.copy(), data.copy(), 0, 0),
        ],
        "sum_batch": [time_ns, flags, made(), made(), made(), made(), 0, 30, 100],
        "find_slots": [can_id, flags, np.zeros(256, np.int64), np.array([0x123]), made(), 1, 56],
        "tell_sources": [
            *(slots, time_ns, made(), made(), made(), sources._state.table, sources._histogram),
            *(made() for _ in range(5)),
            True,
        ],
        "tell_payload": [slots, data, length, flags, payload._state.table, True],
        "sum_windows": [time_ns, made(), made(), made(), made(), made(), 0, 10],
    }


NAMES = sorted(arguments())


def test_every_function_is_tested_here(counting: ModuleType) -> None:
    assert [name for name in sorted(dir(counting)) if not name.startswith("_")] == NAMES


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("rows", [0, 1, 4])
def test_sound_arguments_are_taken(counting: ModuleType, name: str, rows: int) -> None:
    getattr(counting, name)(*arguments(rows)[name])


def wrong(good: Any) -> Sequence[Any]:
    """What may stand in the place of an argument, and is not it."""
    if not isinstance(good, np.ndarray):
        return [None, "12", 1.5, 1 << 70] if not isinstance(good, bool) else []
    return [
        None,
        7,
        good[:-1],
        good.astype(np.float32) if good.itemsize != 4 else good.astype(np.float64),
        np.stack((good, good)),
        np.concatenate((good, good)),
    ]


@settings(max_examples=150)
@given(st.data())
def test_wrong_arguments_are_refused(counting: ModuleType, draw: st.DataObject) -> None:
    name = draw.draw(st.sampled_from(NAMES))
    sound = arguments()[name]
    place = draw.draw(st.integers(0, len(sound) - 1))
    if (name, place) in (("find_slots", 3), ("plain_frames", 0)):
        return  # any number of keys may be known, any number of words read
    choices = wrong(sound[place])
    if not choices or (name == "tell_sources" and place in (5, 6)) or (name == "tell_payload" and place == 4):
        return  # any number of slots may be kept
    sound[place] = draw.draw(st.sampled_from(choices))
    with pytest.raises((TypeError, ValueError, OverflowError)):
        getattr(counting, name)(*sound)


@pytest.mark.parametrize("name", NAMES)
def test_too_few_and_too_many_arguments_are_refused(counting: ModuleType, name: str) -> None:
    sound = arguments()[name]
    with pytest.raises(TypeError):
        getattr(counting, name)(*sound[:-1])
    with pytest.raises(TypeError):
        getattr(counting, name)(*sound, None)


@pytest.mark.parametrize("name", ["tell_sources", "tell_payload"])
@pytest.mark.parametrize("slot", [2, 1 << 40])
def test_a_slot_beyond_the_table_is_refused(counting: ModuleType, name: str, slot: int) -> None:
    sound = arguments()[name]
    sound[0] = np.array([0, 1, slot, 0])
    with pytest.raises(ValueError, match="beyond the table"):
        getattr(counting, name)(*sound)


def test_columns_that_must_not_change_may_be_read_only(counting: ModuleType) -> None:
    sound = arguments()["wire_bit_parts"]
    for column in sound[:4]:
        column.flags.writeable = False
    counting.wire_bit_parts(*sound)
    sound[4].flags.writeable = False
    with pytest.raises((ValueError, BufferError)):
        counting.wire_bit_parts(*sound)


def test_a_state_of_other_fields_is_refused(counting: ModuleType) -> None:
    sound = arguments()["tell_sources"]
    for state in (sound[5][:, :-1].copy(), np.zeros((2, 7), np.int64), sound[5][:, ::-1]):
        with pytest.raises(ValueError, match=r"form|fields"):
            counting.tell_sources(*sound[:5], state, *sound[6:])
    with pytest.raises(ValueError, match="fields"):
        counting.tell_payload(*arguments()["tell_payload"][:4], np.zeros((2, 18), np.int64), True)


def test_columns_may_be_strided_and_spread(counting: ModuleType) -> None:
    sound = arguments()["sum_batch"]
    sound[0] = np.arange(8, dtype=np.int64)[::2]
    sound[2] = np.broadcast_to(np.int64(5), 4)
    assert counting.sum_batch(*sound)[2] == 20
    assert sound[4].tolist() == [5, 5, 5, 5]
