"""Every way of altering one event that a person with an SQLite program has, tried on each event of a job."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from record_bench import copy_job, forging, small_job

from benchcheck.record.canonical import canonical_bytes, event_hash
from benchcheck.record.rows import read_events
from benchcheck.record.schema import COLUMNS
from benchcheck.record.side_file import Head, announce, side_path
from benchcheck.record.verify import verify_record
from benchcheck.words.errors import RecordError

EVENTS = 6
TEXTS = [name for name in COLUMNS if name not in ("seq", "mono_ns")]


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    path = tmp_path_factory.mktemp("good") / "bay.job"
    small_job(path)
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("forged")


def forged(good, folder, *statements):
    """What verifying says of a copy on which the statements were run, guards off and on again."""
    path = copy_job(good, folder / "bay.job")
    with forging(path) as forger:
        for statement, values in statements:
            forger.execute(statement, values)
    return verify_record(path)


def seqs(verdict):
    return [fault.seq for fault in verdict.faults]


def test_the_good_one_is_good(good):
    verdict = verify_record(good)
    assert verdict.ok
    assert (verdict.events, verdict.head_seq, verdict.faults, verdict.notes) == (EVENTS, EVENTS, (), ())
    assert verdict.head_hash == read_events(good)[-1].hash


def test_guards_off_and_on_again_alone_change_nothing(good, folder):
    assert forged(good, folder).ok  # else the tests below would prove nothing


@settings(max_examples=120, deadline=None)
@given(seq=st.integers(1, EVENTS), name=st.sampled_from(TEXTS), value=st.text(max_size=12) | st.binary(max_size=4))
def test_any_text_put_in_any_field_is_found_at_its_event(good, folder, seq, name, value):
    event = read_events(good)[seq - 1]
    if value == getattr(event, name) or (isinstance(value, bytes) and value == str(getattr(event, name)).encode()):
        return
    verdict = forged(good, folder, (f"UPDATE events SET {name} = ? WHERE seq = ?", (value, seq)))
    assert not verdict.ok
    assert seq in seqs(verdict)


@settings(max_examples=60, deadline=None)
@given(
    seq=st.integers(1, EVENTS),
    name=st.sampled_from(["seq", "mono_ns"]),
    value=st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False) | st.text(max_size=4),
)
def test_any_number_put_in_any_field_is_found(good, folder, seq, name, value):
    numbers = {getattr(event, name) for event in read_events(good)}
    if value in numbers or str(value).strip() in {str(number) for number in numbers}:
        return
    verdict = forged(good, folder, (f"UPDATE events SET {name} = ? WHERE seq = ?", (value, seq)))
    assert not verdict.ok
    assert seq in seqs(verdict)


@pytest.mark.parametrize("seq", range(1, EVENTS + 1))
@pytest.mark.parametrize("name", TEXTS)
def test_one_character_of_any_field_of_any_event(good, folder, seq, name):
    text = getattr(read_events(good)[seq - 1], name)
    stored = canonical_bytes(text).decode() if name == "body" else text
    for at in {0, len(stored) // 2, len(stored) - 1}:
        changed = stored[:at] + ("1" if stored[at] == "0" else "0") + stored[at + 1 :]
        verdict = forged(good, folder, (f"UPDATE events SET {name} = ? WHERE seq = ?", (changed, seq)))
        assert not verdict.ok, changed
        assert seq in seqs(verdict)


@pytest.mark.parametrize("change", [" {body}", '{{"a":1,{rest}', "{body}\n"])
def test_a_body_that_means_the_same_but_is_written_otherwise(good, folder, change):
    body = canonical_bytes(read_events(good)[2].body).decode()
    text = change.format(body=body, rest=body[1:])
    assert 3 in seqs(forged(good, folder, ("UPDATE events SET body = ? WHERE seq = 3", (text,))))


@pytest.mark.parametrize("seq", range(1, EVENTS + 1))
def test_each_event_removed(good, folder, seq):
    verdict = forged(good, folder, ("DELETE FROM events WHERE seq = ?", (seq,)))
    assert not verdict.ok
    assert any(fault.seq == seq and "missing" in fault.text for fault in verdict.faults), verdict.faults


def test_several_removed_are_named_together(good, folder):
    verdict = forged(good, folder, ("DELETE FROM events WHERE seq IN (3, 4)", ()))
    assert [str(fault) for fault in verdict.faults] == ["events 3 to 4 are missing"]


@pytest.mark.parametrize("seq", range(1, EVENTS))
def test_neighbours_exchanged_by_number(good, folder, seq):
    move = "UPDATE events SET seq = ? WHERE seq = ?"
    verdict = forged(good, folder, (move, (99, seq)), (move, (seq, seq + 1)), (move, (seq + 1, 99)))
    assert not verdict.ok
    assert seq in seqs(verdict)


@pytest.mark.parametrize("seq", range(1, EVENTS))
def test_neighbours_exchanged_in_the_order_of_writing(good, folder, seq):
    move = "UPDATE events SET rowid = ? WHERE rowid = ?"
    verdict = forged(good, folder, (move, (99, seq)), (move, (seq, seq + 1)), (move, (seq + 1, 99)))
    assert not verdict.ok


def added(event, *, seq, prev, good_hash):
    """An event put there by somebody: with a hash that fits, or the one it was copied with."""
    fields = {name: getattr(event, name) for name in COLUMNS if name != "hash"} | {"seq": seq, "prev": prev}
    digest = event_hash(**fields) if good_hash else event.hash
    row = fields | {"hash": digest, "body": canonical_bytes(event.body).decode()}
    return row, digest


@pytest.mark.parametrize("good_hash", [False, True])
@pytest.mark.parametrize("seq", range(2, EVENTS + 2))
def test_an_event_inserted_anywhere(good, folder, seq, good_hash):
    events = read_events(good)
    row, _ = added(events[2], seq=seq, prev=events[seq - 2].hash, good_hash=good_hash)
    insert = f"INSERT INTO events ({', '.join(COLUMNS)}) VALUES ({', '.join('?' * len(COLUMNS))})"
    later = [
        (statement, (number, number + offset))
        for number in range(EVENTS, seq - 1, -1)
        for statement, offset in (("UPDATE events SET seq = seq + 1, rowid = rowid + 1 WHERE seq = ? AND ? > 0", 0),)
    ]
    place = ("UPDATE events SET rowid = ? WHERE seq = ? AND hash = ?", (seq, seq, row["hash"]))
    verdict = forged(good, folder, *later, (insert, [row[name] for name in COLUMNS]), place)
    assert verdict.events == EVENTS + 1
    assert not verdict.ok


def test_an_event_with_a_fitting_hash_on_the_end_shows_against_the_side_file(good, folder):
    events = read_events(good)
    row, _ = added(events[2], seq=EVENTS + 1, prev=events[-1].hash, good_hash=True)
    insert = f"INSERT INTO events ({', '.join(COLUMNS)}) VALUES ({', '.join('?' * len(COLUMNS))})"
    verdict = forged(good, folder, (insert, [row[name] for name in COLUMNS]))
    assert [str(fault) for fault in verdict.faults] == [
        "event 7 was added by other means: the side file ends before it"
    ]


@pytest.mark.parametrize("last", range(1, EVENTS))
def test_a_cut_tail_shows_against_the_side_file(good, folder, last):
    verdict = forged(good, folder, ("DELETE FROM events WHERE seq > ?", (last,)))
    assert seqs(verdict) == [last + 1]
    assert "tail was cut" in verdict.faults[0].text


def test_a_tail_cut_together_with_the_side_file_shows_against_a_report(good, folder):
    events = read_events(good)
    path = copy_job(good, folder / "bay.job")
    with forging(path) as forger:
        forger.execute("DELETE FROM events WHERE seq > 4")
    announce(path, Head("c1", 4, events[3].hash))
    assert verify_record(path).ok  # what the docstring says can't be found ...
    assert seqs(verify_record(path, held=(6, events[5].hash))) == [6]  # ... unless the head was kept elsewhere
    assert verify_record(path, held=(3, events[2].hash)).ok
    assert not verify_record(path, held=(3, events[1].hash)).ok


def test_a_record_without_its_side_file_is_good_but_says_what_it_cannot_know(good, folder):
    path = copy_job(good, folder / "bay.job")
    side_path(path).unlink()
    verdict = verify_record(path)
    assert verdict.ok
    assert verdict.notes


def test_an_event_of_another_record(good, folder, tmp_path):
    other = tmp_path / "other.job"
    small_job(other, readings=1)
    path = copy_job(good, folder / "bay.job")
    with forging(path) as forger:
        forger.execute("UPDATE events SET chain = 'c2' WHERE seq = 2")
    assert 2 in seqs(verify_record(path))


@pytest.mark.parametrize("key", ["created", "chain", "schema"])
def test_the_words_about_the_file(good, folder, key):
    assert not forged(good, folder, ("UPDATE meta SET value = '0' WHERE key = ?", (key,))).ok


def test_a_later_schema_is_said(good, folder):
    with pytest.raises(RecordError, match="later version"):
        forged(good, folder, ("UPDATE meta SET value = '2' WHERE key = 'schema'", ()))


def test_guards_left_off_are_found(good, folder):
    path = copy_job(good, folder / "bay.job")
    with forging(path) as forger:
        pass
    assert verify_record(path).ok
    import sqlite3

    forger = sqlite3.connect(path)
    forger.execute("DROP TRIGGER events_not_changed")
    forger.close()
    assert "guards" in verify_record(path).faults[0].text


def test_verifying_changes_nothing(good):
    before = good.read_bytes(), side_path(good).read_bytes(), sorted(good.parent.iterdir())
    verify_record(good)
    assert (good.read_bytes(), side_path(good).read_bytes(), sorted(good.parent.iterdir())) == before
