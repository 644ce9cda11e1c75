"""Is the record still what was written?

Found: an event with any changed field, a missing one, an inserted one, a changed order; with the side file (or the
head that a report or a sign-off holds) also a tail that was cut and an event that was put on the end.

Not found, because nothing in the files is secret: the work of somebody who knows this recipe, changes an event,
computes every hash after it anew and writes the side file to match. Nor a tail cut together with the side file. Nor
a whole record made up afterwards, nor a wrong name typed by who was there: names are not authenticated, clocks are
those of the bench's computer. Against these only a head helps that was kept elsewhere in time: the one printed in a
report or a sign-off, given here as `held`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from benchcheck.record.canonical import RECORD_SCHEMA, canonical_bytes, chain_start, event_hash
from benchcheck.record.rows import Row, event_of, meta_of, read_until_damage, reading, rows_of
from benchcheck.record.schema import COLUMNS, GUARDS
from benchcheck.record.side_file import Head, read_head, side_path
from benchcheck.words.errors import RecordError
from benchcheck.words.event import Event


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong, and at which event; seq is 0 where it is the file as a whole."""

    seq: int
    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class Verification:
    """ok: no fault. events: how many were read. head: number and hash of the last. notes: what could not be checked."""

    ok: bool
    events: int
    faults: tuple[Fault, ...]
    notes: tuple[str, ...] = ()
    head_seq: int = 0
    head_hash: str = ""


def verify_record(path: Path, *, held: tuple[int, str] | None = None) -> Verification:
    """Check a job record whole, without changing it.

    held  number and hash of an event, as a report or a sign-off holds them

    Raises RecordError when `path` is no job record at all.
    """
    before = read_head(path)
    faults: list[Fault] = []
    notes: list[str] = []
    hashes: list[str] = []
    try:
        with reading(path) as connection:
            faults += _guard_faults(connection)
            chain, start = _start_of(meta_of(connection), faults)
            _walk(connection, chain, start, faults, hashes)
    except sqlite3.Error as error:
        faults.append(Fault(len(hashes), f"the file is damaged after event {len(hashes)}: {error}"))
    after = read_head(path)  # the job may be in use: it may have grown since `before`
    if before is None or after is None:
        if side_path(path).exists():
            faults.append(Fault(0, "the side file can't be read: a cut tail would not show"))
        else:
            notes.append("no side file beside the record: a cut tail would not show")
    elif not faults:  # a record with faults in the middle has no number that could be compared
        faults += _side_faults(before, after, hashes)
    if held is not None:
        faults += _held_faults(held, hashes)
    return Verification(
        ok=not faults,
        events=len(hashes),
        faults=tuple(faults),
        notes=tuple(notes),
        head_seq=len(hashes),
        head_hash=hashes[-1] if hashes else "",
    )


def read_as_it_is(path: Path) -> tuple[list[Event], tuple[str, ...]]:
    """The events as far as they can be read, and everything that is wrong with the record (nothing: as written).

    For those who only look: an altered record is still worth reading, as long as nobody takes it for proof.
    Raises RecordError when `path` is no job record at all.
    """
    events, damage = read_until_damage(path)
    faults = tuple(fault.text for fault in verify_record(path).faults)
    return events, faults or ((damage,) if damage else ())


def _guard_faults(connection: sqlite3.Connection) -> list[Fault]:
    found = {
        name.decode("utf-8", "replace"): sql.decode("utf-8", "replace")
        for name, sql in connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    }
    if found == GUARDS:
        return []
    return [Fault(0, "the guards against changes were removed or altered: another program has worked on this file")]


def _start_of(meta: Mapping[str, str], faults: list[Fault]) -> tuple[str, str]:
    """Name of the chain and the hash it starts from."""
    chain, created, schema = meta.get("chain", ""), meta.get("created", ""), meta.get("schema", "")
    if schema.isdecimal() and int(schema) > RECORD_SCHEMA:
        raise RecordError(
            f"written by a later version (record schema {schema}, this one knows {RECORD_SCHEMA})",
            hint="Use the newer benchcheck.",
        )
    if set(meta) != {"chain", "created", "schema"} or schema != str(RECORD_SCHEMA):
        faults.append(Fault(0, "the words about the file (schema, created, chain) were altered"))
    return chain, chain_start(chain=chain, created=created, schema=RECORD_SCHEMA)


def _walk(connection: sqlite3.Connection, chain: str, start: str, faults: list[Fault], hashes: list[str]) -> None:
    """Follow the chain; `hashes` gets the stored hash of each event read."""
    expected_seq, expected_prev = 1, start
    for row in rows_of(connection):
        event = event_of(row)
        if isinstance(event, str):
            faults.append(Fault(expected_seq, f"event {expected_seq} was altered: {event}"))
            stored = row[-1].decode("utf-8", "replace") if isinstance(row[-1], bytes) else ""
        else:
            found = _event_faults(event, row, chain, expected_seq, expected_prev)
            faults += found
            stored = event.hash
            if not found:  # only an unaltered event's number can be trusted
                if event.seq > expected_seq:
                    faults.append(Fault(expected_seq, _missing(expected_seq, event.seq - 1)))
                elif event.seq < expected_seq:
                    text = f"event {event.seq} stands where event {expected_seq} should: out of order"
                    faults.append(Fault(event.seq, text))
                expected_seq = event.seq
        hashes.append(stored)
        expected_seq, expected_prev = expected_seq + 1, stored


def _event_faults(event: Event, row: Row, chain: str, expected_seq: int, expected_prev: str) -> list[Fault]:
    seq = event.seq
    stored_body = row[COLUMNS.index("body")]
    try:
        same_text = stored_body == canonical_bytes(event.body)
        computed = event_hash(
            seq=seq,
            chain=event.chain,
            kind=event.kind,
            who=event.who,
            at_utc=event.at_utc,
            mono_ns=event.mono_ns,
            boot_id=event.boot_id,
            profile=event.profile,
            body=event.body,
            prev=event.prev,
        )
    except RecordError as error:
        return [Fault(expected_seq, f"event {expected_seq} was altered: {error.text}")]
    if computed != event.hash or not same_text:
        # Its own number may be what was altered: name the place where it stands.
        other = "" if seq == expected_seq else f", and it calls itself event {seq}"
        return [Fault(expected_seq, f"event {expected_seq} was altered: its contents and its hash disagree{other}")]
    if event.chain != chain:
        return [Fault(seq, f"event {seq} comes from another record")]
    if event.prev != expected_prev and seq == expected_seq:
        text = "is not the first of this record" if seq == 1 else f"does not follow event {seq - 1}"
        return [Fault(seq, f"event {seq} {text}: something was altered, exchanged or inserted here")]
    return []


def _missing(first: int, last: int) -> str:
    return f"event {first} is missing" if first == last else f"events {first} to {last} are missing"


def _side_faults(before: Head, after: Head, hashes: list[str]) -> list[Fault]:
    """The record must reach the head of `before`, and not go beyond the one announced in `after`."""
    last = len(hashes)
    if last < before.seq:
        return [Fault(last + 1, f"the tail was cut: {_missing(last + 1, before.seq)}")]
    if before.seq and hashes[before.seq - 1] != before.hash:
        return [Fault(before.seq, f"event {before.seq} is not the one that was written: the side file says otherwise")]
    if last > after.seq + 1 or (last == after.seq + 1 and hashes[-1] != after.announced):
        return [Fault(after.seq + 1, f"event {after.seq + 1} was added by other means: the side file ends before it")]
    return []


def _held_faults(held: tuple[int, str], hashes: list[str]) -> list[Fault]:
    seq, digest = held
    if seq > len(hashes):
        return [Fault(seq, f"event {seq}, which the given head names, is gone: the tail was cut")]
    if seq < 1 or hashes[seq - 1] != digest.lower():
        return [Fault(seq, f"event {seq} is not the one that the given head names")]
    return []
