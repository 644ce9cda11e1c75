from __future__ import annotations

import contextlib
import errno
import math
import os
import shutil
import sqlite3
import threading
from pathlib import Path

import pytest
from record_bench import StillClock, copy_job, forging, new_job, small_job

from benchcheck.record.rows import read_events, read_until_damage
from benchcheck.record.side_file import Head, announce, read_head, side_path
from benchcheck.record.store import JobRecord, copy_record
from benchcheck.record.verify import verify_record
from benchcheck.words.errors import BenchcheckError, ExitCode, RecordError, SetupError, UsageError
from benchcheck.words.event import EventKind


@pytest.fixture
def job(tmp_path):
    with new_job(tmp_path / "bay.job") as record:
        yield record


def pragma(job, text):
    """Ask or set what SQLite does on the record's own connection."""
    row = job._database._connection.connection.driver_connection.execute(f"PRAGMA {text}").fetchone()
    return row[0] if row else None


def test_a_new_job_holds_its_start(job):
    (first,) = job.events()
    assert (first.seq, first.kind, first.who) == (1, "job.started", "Ann Example")
    assert first.body["title"] == "Survey launch, instrument bay"
    assert first.body["digest"] == first.profile == "d" * 64
    assert job.head == first


def test_what_append_returns_is_what_is_read_back(job):
    body = {"step": "continuity:W1", "value": 0.1, "text": "é\u202e<script>", "nested": [1, 1.0, None, True]}
    event = job.append(EventKind.READING, body, who="Ben Example")
    assert job.events()[-1] == event == job.head
    assert event.body == body
    assert (event.seq, event.prev) == (2, job.events()[0].hash)


def test_a_rerun_goes_on_where_it_stopped(tmp_path):
    small_job(tmp_path / "bay.job")
    with JobRecord.open(tmp_path / "bay.job", clock=StillClock()) as record:
        assert record.head.seq == 6
        assert record.append("step.skipped", {"step": "s", "reason": "r"}, who="Ben").seq == 7
    assert verify_record(tmp_path / "bay.job").ok


def test_a_changed_profile_stays_in_force(job):
    job.append(EventKind.REWORK, {"runs": ["W1"]}, who="Ann", profile="e" * 64)
    assert job.append(EventKind.READING, {"step": "s"}, who="Ann").profile == "e" * 64


def test_settings_of_the_database(job):
    assert pragma(job, "journal_mode") == "delete"
    assert pragma(job, "synchronous") == 3  # EXTRA: all of FULL, and the folder is synced after the journal is gone


def test_nan_is_refused_and_nothing_is_added(job):
    with pytest.raises(RecordError, match="nan"):
        job.append(EventKind.READING, {"reading": {"value": math.nan}}, who="Ann")
    assert len(job.events()) == 1
    job.append(EventKind.READING, {"reading": {"value": None}}, who="Ann")
    assert verify_record(job.path).ok


@pytest.mark.parametrize("statement", ["UPDATE events SET who = 'x'", "DELETE FROM events", "DELETE FROM meta"])
def test_sqlite_itself_refuses_changes(job, statement):
    connection = sqlite3.connect(job.path)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(statement)
    connection.close()


def test_sqlite_itself_refuses_an_event_out_of_order(job):
    connection = sqlite3.connect(job.path)
    with pytest.raises(sqlite3.IntegrityError, match="must follow"):
        connection.execute("INSERT OR REPLACE INTO events SELECT * FROM events WHERE seq = 1")
    connection.close()


def test_a_second_writer_is_refused_and_told_who_writes(job):
    with pytest.raises(RecordError) as refusal:
        JobRecord.open(job.path, clock=StillClock(), who="Ben Example")
    assert "Ann Example" in str(refusal.value)
    assert str(os.getpid()) in str(refusal.value)
    job.append(EventKind.READING, {"step": "s"}, who="Ann")  # the first is not disturbed


def test_a_link_is_no_way_round_the_lock(job, tmp_path):
    link = tmp_path / "other.job"
    link.symlink_to(job.path)
    with pytest.raises(RecordError, match="elsewhere"):
        JobRecord.open(link, clock=StillClock())


def test_after_closing_the_next_may_write_and_no_lock_lies_about(tmp_path):
    small_job(tmp_path / "bay.job")
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["bay.job", "bay.job.head"]
    JobRecord.open(tmp_path / "bay.job", clock=StillClock()).close()


def test_reading_beside_a_writer(job):
    with JobRecord.open(job.path) as reader:
        job.append(EventKind.READING, {"step": "s"}, who="Ann")
        assert len(reader.events()) == 2
        assert reader.head.seq == 2
        with pytest.raises(UsageError, match="reading only"):
            reader.append(EventKind.READING, {}, who="Ben")


def test_several_threads_may_append(job):
    def work(name):
        for _ in range(5):
            job.append(EventKind.READING, {"step": name}, who=name)

    threads = [threading.Thread(target=work, args=(f"T{number}",)) for number in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [event.seq for event in job.events()] == list(range(1, 17))
    assert verify_record(job.path).ok


def test_a_full_disk_is_said_before_anything_is_acknowledged(job):
    # SQLite's own limit on the file's pages gives its own "disk is full", by the same way as a real one.
    pages = pragma(job, "page_count")
    pragma(job, f"max_page_count = {pages}")
    with pytest.raises(SetupError, match="NOT recorded") as refusal:
        job.append(EventKind.READING, {"text": "x" * 100_000}, who="Ann")
    assert refusal.value.exit_code == ExitCode.SETUP
    assert len(job.events()) == 1
    assert verify_record(job.path).ok
    pragma(job, "max_page_count = 100000")
    assert job.append(EventKind.READING, {"text": "small"}, who="Ann").seq == 2
    assert verify_record(job.path).ok


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_side_file_that_cannot_be_written_stops_the_event(job):
    # /dev/full answers every write with "no space left on device" (Linux, full(4))
    (job.path.parent / "bay.job.head.new").symlink_to("/dev/full")
    with pytest.raises(SetupError, match="side file") as refusal:
        job.append(EventKind.READING, {"step": "s"}, who="Ann")
    assert "Nothing was recorded" in refusal.value.hint
    assert len(job.events()) == 1
    assert job.append(EventKind.READING, {"step": "s"}, who="Ann").seq == 2


def test_a_file_that_became_read_only_is_said_in_words(job):
    pragma(job, "query_only = ON")
    with pytest.raises(SetupError, match="can't be written"):
        job.append(EventKind.READING, {"step": "s"}, who="Ann")
    pragma(job, "query_only = OFF")
    assert job.append(EventKind.READING, {"step": "s"}, who="Ann").seq == 2


def test_a_job_in_the_way_is_not_overwritten(tmp_path):
    small_job(tmp_path / "bay.job")
    before = (tmp_path / "bay.job").read_bytes()
    with pytest.raises(RecordError, match="already"):
        new_job(tmp_path / "bay.job")
    assert (tmp_path / "bay.job").read_bytes() == before
    JobRecord.open(tmp_path / "bay.job", clock=StillClock()).close()


def test_a_creation_that_fails_leaves_nothing(tmp_path):
    with pytest.raises(RecordError):
        JobRecord.create(
            tmp_path / "a.job", title="\ud800", profile_path="p", digest="d", who="Ann", clock=StillClock()
        )
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(RecordError, match="no such folder"):
        new_job(tmp_path / "nowhere" / "a.job")


@pytest.mark.parametrize("contents", [b"", b"hello", b"SQLite format 3\x00" + b"\xff" * 4000, bytes(5000)])
@pytest.mark.parametrize("clock", [None, StillClock()])
def test_files_that_are_no_job_record(tmp_path, contents, clock):
    path = tmp_path / "x.job"
    path.write_bytes(contents)
    with pytest.raises(RecordError):
        JobRecord.open(path, clock=clock)
    assert path.read_bytes() == contents
    assert list(tmp_path.iterdir()) == [path]


def test_another_database_is_no_job_record(tmp_path):
    connection = sqlite3.connect(tmp_path / "x.job")
    connection.execute("CREATE TABLE events (seq)")
    connection.close()
    with pytest.raises(RecordError, match="not a job record"):
        JobRecord.open(tmp_path / "x.job")


def test_no_file_and_a_folder(tmp_path):
    for path in (tmp_path / "none.job", tmp_path):
        with pytest.raises(RecordError, match="no job record"):
            JobRecord.open(path)


def test_nothing_is_added_to_a_record_whose_tail_is_gone(tmp_path):
    small_job(tmp_path / "bay.job")
    with forging(tmp_path / "bay.job") as forger:
        forger.execute("DELETE FROM events WHERE seq = 6")
    with pytest.raises(RecordError, match="tail"):
        JobRecord.open(tmp_path / "bay.job", clock=StillClock())
    assert len(read_events(tmp_path / "bay.job")) == 5  # looking stays possible


def test_a_plain_copy_of_the_file_in_use_is_whole(job, tmp_path):
    for number in range(3):
        job.append(EventKind.READING, {"step": f"s{number}"}, who="Ann")
    alone = tmp_path / "copy.job"
    shutil.copyfile(job.path, alone)  # without its side file
    verdict = verify_record(alone)
    assert (verdict.ok, verdict.events) == (True, 4)
    assert any("cut tail" in note for note in verdict.notes)
    with JobRecord.open(alone, clock=StillClock()) as copy:
        copy.append(EventKind.READING, {"step": "more"}, who="Ben")
    assert verify_record(alone).ok
    job.append(EventKind.READING, {"step": "more"}, who="Ann")
    assert verify_record(job.path).ok


def test_copy_record_while_another_thread_writes(job, tmp_path):
    done = threading.Event()

    def write():
        for number in range(40):
            job.append(EventKind.READING, {"step": f"s{number}", "text": "x" * 2000}, who="Ann")
        done.set()

    writer = threading.Thread(target=write)
    writer.start()
    count = 0
    while not done.is_set() and count < 20:
        count += 1
        copy_record(job.path, tmp_path / f"copy{count}.job")
    writer.join()
    assert count > 0
    for number in range(1, count + 1):
        verdict = verify_record(tmp_path / f"copy{number}.job")
        assert verdict.ok, verdict.faults
        assert not verdict.notes


def test_stopped_between_announcing_and_committing(tmp_path):
    path = tmp_path / "bay.job"
    small_job(path)
    head = read_head(path)
    announce(path, Head(head.chain, head.seq, head.hash, "a" * 64))  # as if the program ended here
    assert verify_record(path).ok
    with JobRecord.open(path, clock=StillClock()) as record:
        assert record.append(EventKind.READING, {"step": "s"}, who="Ann").seq == 7
    assert verify_record(path).ok


def test_stopped_between_committing_and_confirming(tmp_path):
    path = tmp_path / "bay.job"
    small_job(path)
    fifth, sixth = read_events(path)[-2:]
    announce(path, Head("c1", fifth.seq, fifth.hash, sixth.hash))  # as it stood just after the sixth was committed
    assert verify_record(path).ok
    with JobRecord.open(path, clock=StillClock()) as record:
        assert record.head == sixth
    assert read_head(path) == Head("c1", 6, sixth.hash)


def test_a_damaged_record_is_read_up_to_the_damage(tmp_path):
    path = tmp_path / "bay.job"
    small_job(path, readings=200)
    whole = read_events(path)
    damaged = copy_job(path, tmp_path / "damaged.job")
    pages = bytearray(path.read_bytes())
    at = pages.rfind(b"continuity:W150") // 4096 * 4096
    pages[at : at + 4096] = b"\xa5" * 4096
    damaged.write_bytes(bytes(pages))
    events, damage = read_until_damage(damaged)
    assert "damaged after event" in damage
    assert 0 < len(events) < len(whole)
    assert events == whole[: len(events)]
    with pytest.raises(RecordError, match="damaged"):
        read_events(damaged)
    assert not verify_record(damaged).ok
    assert damaged.read_bytes() == bytes(pages)


def test_no_truncation_of_the_file_escapes_as_a_trace(tmp_path):
    path = tmp_path / "bay.job"
    small_job(path, readings=20)
    contents = path.read_bytes()
    for length in range(0, len(contents), 1499):
        path.write_bytes(contents[:length])
        with contextlib.suppress(BenchcheckError):  # said in words
            assert not verify_record(path).ok


def test_side_file_garbage_is_a_fault_and_never_a_trace(tmp_path):
    path = tmp_path / "bay.job"
    small_job(path)
    for contents in (b"", b"[]", b"\xff\xfe", b"[" * 400, b'{"schema": "benchcheck.record-head/1", "seq": true}'):
        side_path(path).write_bytes(contents)
        assert read_head(path) is None
        assert [fault.text for fault in verify_record(path).faults] == [
            "the side file can't be read: a cut tail would not show"
        ]


def test_a_full_disk_does_not_keep_the_lock_from_being_held(tmp_path, monkeypatch):
    def full(handle, data):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr("benchcheck.record.lock_file.os.write", full)
        record = new_job(tmp_path / "bay.job")
    with record, pytest.raises(RecordError, match="open for writing elsewhere"):
        JobRecord.open(tmp_path / "bay.job", clock=StillClock(), who="Ben Example")
    assert not (tmp_path / "bay.job.lock").exists()
