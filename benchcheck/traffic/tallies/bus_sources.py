"""Whose frames they are: the tables of a bus by identifier, by unit, and by the matches of a watch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchcheck.traffic.tallies.key_index import KeyIndex
from benchcheck.traffic.tallies.payload_table import PayloadTable, PayloadTally
from benchcheck.traffic.tallies.source_table import SourceTable
from benchcheck.traffic.tallies.source_tally import SourceTally
from benchcheck.traffic.tallies.watch import IdKey, Match, Watch
from benchcheck.words.frames import FrameBatch, FrameFlag

Int64s = NDArray[np.int64]


class BusSources:
    """Fed frames (no error frames) of one bus."""

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self._units = sorted({*watch.group.values(), *(entry.unit for entry in watch.matches)})
        self._index = KeyIndex()
        # how many senders an identifier has is asked only of those with a known period
        is_asked = bool(watch.gap_ns)
        self._by_id = SourceTable(lambda slot: self.watch.gap_ns.get(self._key(slot)), evenness=is_asked)
        self._payload = PayloadTable(steps=is_asked)
        self._by_unit = SourceTable()
        self._by_unit.grow(len(self._units))
        self._by_match = SourceTable(lambda number: self.watch.matches[number].gap_ns)
        self._by_match.grow(len(watch.matches))
        self._unit_of = np.zeros(0, np.int64)  # by slot of the identifier; -1 is nobody
        self._takes = np.zeros((len(watch.matches), 0), np.bool_)  # by match and slot
        self._made: tuple[dict[IdKey, SourceTally], dict[str, SourceTally], list[SourceTally | None]] | None = None

    def update(self, batch: FrameBatch, ahead_ns: Int64s, segment: Int64s, bits: Int64s) -> None:
        """`ahead_ns`, `segment` and `bits` go with the frames (see source_table)."""
        self._made = None
        slots = self._index.of_frames(batch.can_id, batch.flags)
        self._grow()
        sorting = self._by_id.update(slots, batch.time_ns, ahead_ns, segment, bits)
        self._payload.update(slots, batch.data, batch.length, batch.flags, sorting)
        if not self._units:
            return
        unit = self._unit_of[slots]
        for number, entry in enumerate(self.watch.matches):
            member = self._takes[number][slots]
            if entry.match.byte is not None:
                member &= _byte_is(batch, entry.match)
            at = np.flatnonzero(member)
            if not len(at):
                continue
            one = np.full(len(at), number, np.int64)
            self._by_match.update(one, batch.time_ns[at], ahead_ns[at], segment[at], bits[at])
            unit[at[unit[at] < 0]] = self._units.index(entry.unit)
        self._by_unit.update(unit, batch.time_ns, ahead_ns, segment, bits)

    def merge(self, later: BusSources, recorded_ns: int, segments: int) -> None:
        """Take in the part that follows, which began at `recorded_ns` after `segments` clock steps."""
        self._made = None
        mine_of = self._index.slots(later._index.keys)
        self._grow()
        self._by_id.merge(later._by_id, mine_of, recorded_ns, segments)
        self._payload.merge(later._payload, mine_of)
        self._by_unit.merge(later._by_unit, np.arange(len(self._units)), recorded_ns, segments)
        self._by_match.merge(later._by_match, np.arange(len(self.watch.matches)), recorded_ns, segments)

    def ids(self) -> dict[IdKey, SourceTally]:
        return self._tallies()[0]

    def groups(self) -> dict[str, SourceTally]:
        return self._tallies()[1]

    def matches(self) -> list[SourceTally | None]:
        return self._tallies()[2]

    def payload(self, key: IdKey) -> PayloadTally | None:
        at = np.flatnonzero(self._index.keys == _number(key))
        return self._payload.tally(int(at[0])) if len(at) else None

    def _tallies(self) -> tuple[dict[IdKey, SourceTally], dict[str, SourceTally], list[SourceTally | None]]:
        if self._made is None:
            ids = {self._key(slot): tally for slot, tally in enumerate(self._by_id.tallies())}
            units = zip(self._units, self._by_unit.tallies(), strict=True)
            matches = [tally if tally.count else None for tally in self._by_match.tallies()]
            self._made = ids, {name: tally for name, tally in units if tally.count}, matches
        return self._made

    def _key(self, slot: int) -> IdKey:
        key = int(self._index.keys[slot])
        return IdKey(key & 0xFFFF_FFFF, bool(key >> 32))

    def _grow(self) -> None:
        have, slots = self._by_id.slots, len(self._index)
        if slots == have:
            return
        self._by_id.grow(slots)
        self._payload.grow(slots)
        if not self._units:
            return
        fresh = [self._key(slot) for slot in range(have, slots)]
        names = (self.watch.group.get(key) for key in fresh)
        units = [-1 if name is None else self._units.index(name) for name in names]
        self._unit_of = np.concatenate((self._unit_of, np.array(units, np.int64)))
        takes = np.array([[entry.match.takes(key) for key in fresh] for entry in self.watch.matches], np.bool_)
        self._takes = np.concatenate((self._takes, takes.reshape(len(self.watch.matches), len(fresh))), axis=1)


def _number(key: IdKey) -> int:
    return key.can_id | (int(key.extended) << 32)


def _byte_is(batch: FrameBatch, match: Match) -> NDArray[np.bool_]:
    if match.byte is None or match.byte >= batch.data.shape[1]:
        return np.zeros(len(batch), np.bool_)
    found: NDArray[np.bool_] = (batch.data[:, match.byte] == match.value) & (batch.length > match.byte)
    found &= (batch.flags & np.uint16(FrameFlag.REMOTE)) == 0
    return found
