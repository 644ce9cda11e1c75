from __future__ import annotations

import json
import sqlite3

import pytest

from benchcheck.bench.clock import FakeClock
from benchcheck.cli.main import run
from benchcheck.record.store import JobRecord
from benchcheck.words.event import EventKind


@pytest.fixture
def job(tmp_path):
    path = tmp_path / "bay.job"
    with JobRecord.create(
        path, title="Bay\x1b[2J 1", profile_path="nowhere", digest="d" * 64, who="Ann Example", clock=FakeClock()
    ) as record:
        reading = {
            "step": "continuity:W1",
            "stage": "dead",
            "question": "does W1 go?",
            "reading": {"state": "over", "unit": "ohm"},
            "verdict": {"outcome": "FAIL", "reason": "open", "text": "open"},
        }
        record.append(EventKind.READING, reading, who="Ann Example")
        squawk = {"id": "open_run:W1", "kind": "open_run", "where": ["W1"], "stage": "dead", "text": "W1 is open"}
        record.append(EventKind.SQUAWK_OPENED, squawk, who="Ann Example")
    return path


def alter(path):
    connection = sqlite3.connect(path)
    connection.execute("DROP TRIGGER events_not_changed")
    connection.execute("UPDATE events SET body = replace(body, 'FAIL', 'PASS') WHERE seq = 2")
    connection.commit()
    connection.close()


def test_start_makes_a_job_of_a_profile_that_comes_along(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["job", "start", "starter", "--by", "Ann Example"]) == 0
    assert "Started starter.job" in capsys.readouterr().err
    event, kept = JobRecord.open(tmp_path / "starter.job").events()
    assert (event.who, event.kind) == ("Ann Example", "job.started")
    assert len(event.profile) == 64
    assert (kept.kind, kept.body["digest"], kept.profile) == ("profile.kept", event.profile, event.profile)
    assert run(["job", "start", "starter"]) == 2  # never over an old one
    assert "already" in capsys.readouterr().err
    assert run(["job", "start", "starter", "--file", "second"]) == 0
    assert (tmp_path / "second.job").is_file()


def test_start_with_a_profile_that_does_not_exist(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["job", "start", "startre"]) == 2
    assert "starter" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_list(job, tmp_path, capsys):
    (tmp_path / "spoilt.job").write_bytes(b"not a database, and longer than a header" * 9)
    assert run(["job", "list", str(tmp_path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "benchcheck.job-list/1"
    bay, spoilt = document["jobs"]
    assert (bay["file"], bay["events"], bay["open_squawks"], bay["error"]) == ("bay.job", 3, 1, "")
    assert bay["last_used"].startswith("20")
    assert "not a job record" in spoilt["error"]
    assert run(["job", "list", str(tmp_path)]) == 0
    text = capsys.readouterr().out
    assert "1 open squawk\n" in text
    assert "\x1b" not in text  # a title can't drive the terminal


def test_list_of_an_empty_folder_and_of_none(tmp_path, capsys):
    assert run(["job", "list", str(tmp_path)]) == 0
    assert "No jobs" in capsys.readouterr().err
    assert run(["job", "list", str(tmp_path / "none")]) == 2


def test_show(job, capsys):
    assert run(["job", "show", str(job)]) == 0
    text = capsys.readouterr().out
    assert "dead: 1 FAIL" in text
    assert "W1 is open" in text
    assert run(["job", "show", str(job), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["verdicts"] == {"dead": {"FAIL": 1}}
    assert document["open_squawks"][0]["where"] == ["W1"]
    assert document["head"]["seq"] == 3


def test_verify_good_altered_and_no_record(job, tmp_path, capsys):
    assert run(["job", "verify", str(job)]) == 0
    assert "3 events, as written" in capsys.readouterr().out
    alter(job)
    assert run(["job", "verify", str(job)]) == 1
    assert "event 2 was altered" in capsys.readouterr().out
    assert run(["job", "verify", str(job), "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert not document["ok"]
    assert 2 in [fault["event"] for fault in document["faults"]]
    other = tmp_path / "notes.txt"
    other.write_text("hello")
    for path in (other, tmp_path / "none.job", tmp_path):
        assert run(["job", "verify", str(path)]) == 2
        assert "job record" in capsys.readouterr().err


def test_verify_against_a_head_that_a_report_holds(job, capsys):
    head = JobRecord.open(job).head
    assert run(["job", "verify", str(job), "--head", f"{head.seq}:{head.hash}"]) == 0
    assert run(["job", "verify", str(job), "--head", f"9:{head.hash}"]) == 1
    assert "tail was cut" in capsys.readouterr().out
    assert run(["job", "verify", str(job), "--head", "nonsense"]) == 2


def test_report_of_a_job_whose_profile_is_gone(job, tmp_path, capsys):
    assert run(["report", str(job)]) == 0
    messages = capsys.readouterr().err
    assert "profile can't be read" in messages
    assert "FAIL" in messages
    assert "does W1 go?" in (tmp_path / "bay.html").read_text(encoding="utf-8")
    assert run(["report", str(job), "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["outcome"]["exit_code"] == 1
    assert document["squawks"][0]["where"] == ["W1"]


def test_report_with_the_profile_it_names(job, tmp_path, capsys):
    target = tmp_path / "out.json"
    assert run(["report", str(job), "--profile", "starter", "--json", str(target)]) == 0
    document = json.loads(target.read_text(encoding="utf-8"))
    assert document["profile"]["changed"]
    assert document["connectors"]
    assert "was changed" in capsys.readouterr().err


def test_report_that_cannot_be_written(job, tmp_path, capsys):
    assert run(["report", str(job), "--html", str(tmp_path / "none" / "x.html")]) == 3
    assert "can't be written" in capsys.readouterr().err


def test_verify_without_its_side_file_is_unsure(job, capsys):
    head = JobRecord.open(job).head
    (job.parent / "bay.job.head").unlink()
    assert run(["job", "verify", str(job)]) == 4
    out, err = capsys.readouterr()
    assert "as far as can be told without its side file" in out
    assert "a cut tail would not show" in err
    # a head that was kept elsewhere says the same as the side file
    assert run(["job", "verify", str(job), "--head", f"{head.seq}:{head.hash}"]) == 0


def test_an_altered_record_is_shown_and_reported_but_proves_nothing(job, tmp_path, capsys):
    alter(job)
    assert run(["job", "show", str(job), "--json"]) == 2
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert not document["record"]["verified"]
    assert any("event 2 was altered" in fault for fault in document["record"]["faults"])
    assert "proves nothing" in err
    assert f"benchcheck job verify {job}" in err
    assert run(["report", str(job), "--html", str(tmp_path / "r.html"), "--json", "-"]) == 0
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert document["outcome"]["word"] != "PASS"
    assert not document["record"]["verified"]
    assert "not as it was written" in err
    assert "This record is not as it was written" in (tmp_path / "r.html").read_text(encoding="utf-8")


def test_nothing_is_added_to_an_altered_record(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    assert run(["job", "start", "starter"]) == 0
    job = tmp_path / "starter.job"
    with JobRecord.open(job, clock=FakeClock()) as record:
        record.append(EventKind.SKIPPED, {"step": "continuity:W3", "reason": "FAIL"}, who="Ann Example")
        record.append(EventKind.SKIPPED, {"step": "continuity:W3", "reason": "later"}, who="Ann Example")
    alter(job)
    before = job.read_bytes()
    waive = ["job", "waive", str(job), "--step", "continuity:W8", "--reason", "spare"]
    for words in (["check", str(job), "--stage", "dead"], waive):
        assert run(words) == 2
        err = capsys.readouterr().err
        assert "altered" in err
        assert "benchcheck job verify starter.job" in err
    assert job.read_bytes() == before
    assert not list(tmp_path.glob("*.lock"))


def test_a_skipped_step_stands_under_its_stage(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["job", "start", "starter", "--by", "Ann Example"]) == 0
    with JobRecord.open(tmp_path / "starter.job", clock=FakeClock(), who="Ann Example") as record:
        record.append(EventKind.SKIPPED, {"step": "continuity:W1", "reason": "no reach"}, who="Ann Example")
        again = {"continuity:W1": "P1-1", "continuity:W2": "P1-1"}
        body = {"contacts": ["P1-1"], "runs": [], "connectors": [], "reason": "bent", "again": again}
        record.append(EventKind.REWORK, body, who="Ann Example")
        record.append(EventKind.SKIPPED, {"step": "continuity:W3", "reason": "no reach"}, who="Ann Example")
    assert run(["job", "show", "starter.job"]) == 0
    out = capsys.readouterr().out
    assert "dead: " in out
    assert "1 SKIPPED" in out
    assert "skipped:" not in out
    assert "1 step due again" in out  # W2 had not been done
