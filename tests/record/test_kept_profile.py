"""The files of a profile in the record: given back byte for byte, and any alteration is found."""

from __future__ import annotations

import base64
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from record_bench import forging, new_job, small_job

from benchcheck.record.kept_profile import is_kept, kept_body, kept_files
from benchcheck.record.rows import read_events
from benchcheck.record.store import JobRecord
from benchcheck.record.verify import verify_record
from benchcheck.words.errors import RecordError
from benchcheck.words.event import Event, EventKind

FILES = {"harness.toml": b'title = "Bay"\n', "pins.csv": bytes(range(256)) * 3, "units/nav.toml": b""}


def event(body: dict[str, object]) -> Event:
    return Event(2, "c", EventKind.PROFILE_KEPT, "Ann", "", 0, "", "d", body, "", "")


@settings(max_examples=40, deadline=None)
@given(st.dictionaries(st.text(min_size=1, max_size=9), st.binary(max_size=300), max_size=4))
def test_what_comes_back_is_what_went_in(files: dict[str, bytes]) -> None:
    assert kept_files([event(kept_body("d1", "bay", files))], "d1") == ("bay", files)


def test_each_version_under_its_digest() -> None:
    events = [event(kept_body("d1", "bay", FILES)), event(kept_body("d2", "bay", {"pins.csv": b"x"}))]
    assert kept_files(events, "d2") == ("bay", {"pins.csv": b"x"})
    assert kept_files(events, "d3") is None
    assert (is_kept(events, "d1"), is_kept(events, "d3")) == (True, False)
    assert kept_files([], "d1") is None


@pytest.mark.parametrize(
    "packed",
    ["", "%%%", "AAAA", base64.b64encode(zlib.compress(b"x")[:-3]).decode(), base64.b64encode(b"plain").decode(), 7, None],
)  # fmt: skip
def test_what_can_not_be_unpacked_is_said(packed: object) -> None:
    with pytest.raises(RecordError, match="can't be unpacked"):
        kept_files([event({"digest": "d1", "name": "bay", "files": {"pins.csv": packed}})], "d1")


def test_a_small_text_that_unpacks_to_more_than_a_profile_may_be_is_refused() -> None:
    bomb = base64.b64encode(zlib.compress(b"\0" * 21_000_000, 9)).decode()
    with pytest.raises(RecordError, match="can't be unpacked"):
        kept_files([event({"digest": "d1", "name": "bay", "files": {"pins.csv": bomb}})], "d1")


def test_files_missing_altogether() -> None:
    with pytest.raises(RecordError):
        kept_files([event({"digest": "d1"})], "d1")


def test_it_is_an_event_like_any_other(tmp_path) -> None:
    path = tmp_path / "bay.job"
    with new_job(path) as record:
        record.append(EventKind.PROFILE_KEPT, kept_body("d" * 64, "bay", FILES), who="Ann Example")
    assert kept_files(read_events(path), "d" * 64) == ("bay", FILES)
    assert verify_record(path).ok
    with forging(path) as forger:
        forger.execute("UPDATE events SET body = replace(body, 'pins', 'pens') WHERE seq = 2")
    verdict = verify_record(path)
    assert [fault.seq for fault in verdict.faults][:1] == [2]


def test_a_job_of_a_version_that_kept_none_still_opens(tmp_path) -> None:
    path = tmp_path / "old.job"
    small_job(path)
    with JobRecord.open(path) as record:
        assert kept_files(record.events(), "d" * 64) is None
