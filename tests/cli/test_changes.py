"""A pin table that is edited in the middle of a job, and a contact that is pulled: on a simulated bench, start to report."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import pytest
from model_bench import PROFILES

from benchcheck.cli.main import run
from benchcheck.profile.load import digest_of, load_with_files
from benchcheck.record.kept_profile import kept_files
from benchcheck.record.rows import read_events
from benchcheck.record.schema import GUARDS
from benchcheck.record.store import JobRecord
from benchcheck.simulator.launch import start
from benchcheck.words.event import EventKind

ANN = ["--by", "Ann Example"]
SWAP = [("W8,P1-3,P2-7", "W8,P1-4,P2-7"), ("W9,P1-4,P2-6", "W9,P1-3,P2-6")]
FORGOTTEN = [("# RS-232: seen", "W11,P2-10,GND1,22,0.6,ground,,,black,\n# RS-232: seen")]


@pytest.fixture(autouse=True)
def no_bench_of_mine(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def profile(tmp_path) -> Path:
    shutil.copytree(PROFILES / "units", tmp_path / "profiles" / "units")
    return Path(shutil.copytree(PROFILES / "starter", tmp_path / "profiles" / "bay"))


def edit(folder: Path, *changes: tuple[str, str], file: str = "pins.csv") -> None:
    text = (folder / file).read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    (folder / file).write_text(text, encoding="utf-8")


def forge(statement: str, values: tuple[object, ...]) -> None:
    """Alter the job as somebody does who takes the guards off first and puts them back afterwards."""
    connection = sqlite3.connect("bay.job", isolation_level=None)
    for name in GUARDS:
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute(statement, values)
    for guard in GUARDS.values():
        connection.execute(guard)
    connection.close()


def run_json(capsys, *arguments: str) -> tuple[int, dict]:
    capsys.readouterr()
    code = run([*arguments, "--json"])
    out, _ = capsys.readouterr()
    return code, json.loads(out)


def check_dead(capsys, folder: Path) -> tuple[int, dict, str]:
    """The dead stage on a sound simulated bench of the profile as it is now: exit code, document, messages."""
    with start(folder, seed=1) as simulated:
        Path("bench.json").write_text(json.dumps(simulated.description), encoding="utf-8")
        capsys.readouterr()
        code = run(["check", "bay.job", "--stage", "dead", "--bench", "bench.json", "--json", *ANN])
        out, err = capsys.readouterr()
    return code, json.loads(out), err


def report(capsys) -> dict:
    capsys.readouterr()
    assert run(["report", "bay.job", "--json", "-"]) == 0
    document: dict = json.loads(capsys.readouterr().out)
    return document


def stale(document: dict) -> set[str]:
    return {row["id"] for row in document["steps"] if row["word"] == "STALE"}


def test_an_edited_table_and_a_pulled_contact(profile, capsys):
    assert run(["job", "start", str(profile), "--file", "bay.job", *ANN]) == 0
    code, first, _ = check_dead(capsys, profile)
    assert code == 0
    done_first = {row["step"] for row in first["done"]}
    code, nothing = run_json(capsys, "changes", "bay.job")
    assert (code, nothing["changes"], nothing["steps"]["due_again"]) == (0, [], [])

    # two contacts exchanged on paper, and a forgotten run
    edit(profile, *SWAP, *FORGOTTEN)
    code, told = run_json(capsys, "changes", "bay.job")
    assert code == 0
    assert told["swapped"] == [{"contacts": ["P1-3", "P1-4"], "runs": ["W8", "W9"]}]
    assert {(c["name"], c["how"]) for c in told["changes"]} == {("W8", "changed"), ("W9", "changed"), ("W11", "added")}
    again, new = {row["step"] for row in told["steps"]["due_again"]}, set(told["steps"]["new"])
    assert {"continuity:W8", "continuity:W9"} <= again
    assert "continuity:W11" in new
    assert set(told["steps"]["had_verdict"]) == again & done_first  # no unit was let in yet, so none is due *again*
    assert "unit_current:GPS" in again - done_first
    assert not {"continuity:W1", "continuity:W4", "continuity:W10"} & again
    # before anybody works on the job the report knows it, and calls nothing PASS that is not
    assert stale(report(capsys)) == again & done_first

    code, second, messages = check_dead(capsys, profile)
    assert code == 0
    assert "runs W8 and W9: exchanged at P1-3 and P1-4" in messages
    assert "run W11 added: P2-10 to GND1" in messages
    assert f"{len(again & done_first)} steps due again" in messages
    dead_new = {row["id"] for row in report(capsys)["steps"] if row["stage"] == "dead"} & new
    assert {row["step"] for row in second["done"]} == (again & done_first) | dead_new  # these, and no others
    kinds = [event.kind for event in read_events(Path("bay.job"))]
    assert kinds.count(EventKind.PROFILE_CHANGED) == 1
    assert kinds.count(EventKind.PROFILE_KEPT) == 2
    changed = report(capsys)["profile_changes"]
    assert [(row["known"], row["due_again"]) for row in changed] == [(True, len(again & done_first))]

    # opened once more with the same table: nothing is asked again
    code, third, messages = check_dead(capsys, profile)
    assert (code, third["done"]) == (0, [])
    assert "has been changed" not in messages

    code, told = run_json(capsys, "job", "pulled", "bay.job", "P1-6", *ANN, "--reason", "bent pin")
    assert code == 0
    assert told["contacts"] == ["P1-6"]
    due = set(told["had_verdict"])
    assert "continuity:W6" in due
    assert "continuity:W7" not in due
    assert any(name.startswith("isolation:P1-6:") for name in due)
    assert stale(report(capsys)) == due
    rows = {row["id"]: row for row in report(capsys)["steps"]}
    assert rows["continuity:W6"]["text"].startswith("P1-6 was reworked: P1-6")
    assert report(capsys)["outcome"]["word"] == "UNSURE"
    code, fourth, _ = check_dead(capsys, profile)
    assert code == 0
    assert {row["step"] for row in fourth["done"]} == due
    assert stale(report(capsys)) == set()
    assert run(["job", "verify", "bay.job"]) == 0
    capsys.readouterr()
    assert run(["job", "show", "bay.job"]) == 0
    shown = capsys.readouterr().out
    assert "rework: P1-6: bent pin (Ann Example)" in shown
    assert "profile changed: " in shown


def test_an_altered_list_of_steps_or_profile_is_found(profile, capsys):
    assert run(["job", "start", str(profile), "--file", "bay.job", *ANN]) == 0
    assert run(["job", "pulled", "bay.job", "W8", *ANN, "--reason", "recrimped"]) == 0
    seq = {event.kind: event.seq for event in read_events(Path("bay.job"))}
    kept = Path("bay.job").read_bytes()
    for kind, old, new in (
        (EventKind.REWORK, "continuity:W8", "continuity:W9"),
        (EventKind.PROFILE_KEPT, "pins.csv", "pens.csv"),
    ):
        Path("bay.job").write_bytes(kept)
        forge("UPDATE events SET body = replace(body, ?, ?) WHERE seq = ?", (old, new, seq[kind]))
        capsys.readouterr()
        assert run(["job", "verify", "bay.job"]) == 1
        assert f"event {seq[kind]} was altered" in capsys.readouterr().out
        assert run(["changes", "bay.job"]) in (0, 2)  # it is shown, or refused, and never passes in silence
        assert "not as it was written" in capsys.readouterr().err


def test_labels_alone(profile, capsys):
    assert run(["job", "start", str(profile), "--file", "bay.job", *ANN]) == 0
    edit(profile, ("22,1.5,signal,C2,,grey,signal ground of the link", "22,1.5,signal,C2,,pink,other"))
    capsys.readouterr()
    assert run(["changes", "bay.job"]) == 0
    out = capsys.readouterr().out
    assert "run W10: colour pink, was grey; note other, was signal ground of the link" in out
    assert "0 due again, 0 new, 0 gone" in out
    assert run(["job", "pulled", "bay.job", "W1", *ANN, "--reason", "x"]) == 0
    assert "only notes, colours, zones or titles of the profile were changed" in capsys.readouterr().err


def test_two_folders_and_plain_lines(profile, capsys):
    edit(profile, *SWAP)
    capsys.readouterr()
    assert run(["changes", "starter", str(profile), "--plain"]) == 0
    lines = [line.split("\t") for line in capsys.readouterr().out.splitlines()]
    assert ["changed", "runs W8 and W9: exchanged at P1-3 and P1-4"] in lines
    assert "continuity:W8" in {line[1] for line in lines if line[0] == "again"}
    assert run(["changes", "starter", "starter"]) == 0
    assert "Nothing changed." in capsys.readouterr().err


def test_a_change_and_its_reverse_leave_it_to_do(profile, capsys):
    """Somebody may have rewired and rewired back: what was proved before is not proved after."""
    assert run(["job", "start", str(profile), "--file", "bay.job", *ANN]) == 0
    check_dead(capsys, profile)
    before = (profile / "pins.csv").read_text(encoding="utf-8")
    edit(profile, *SWAP)
    assert run(["job", "waive", "bay.job", "--step", "continuity:W8", *ANN, "--reason", "later"]) == 0
    (profile / "pins.csv").write_text(before, encoding="utf-8")
    code, done, _ = check_dead(capsys, profile)
    assert code == 0
    assert {"continuity:W8", "continuity:W9"} <= {row["step"] for row in done["done"]}
    assert not [row for row in report(capsys)["steps"] if row["waived"]]


def test_a_job_that_holds_no_old_profile(profile, capsys, tmp_path):
    """As earlier versions wrote them: what rests on whole nets is due again once the table has changed."""
    from benchcheck.bench.clock import FakeClock

    harness, contents = load_with_files(profile)
    with JobRecord.create(
        tmp_path / "bay.job",
        title="Bay",
        profile_path=str(profile),
        digest=harness.digest,
        who="Ann Example",
        clock=FakeClock(),
    ):
        pass
    check_dead(capsys, profile)  # opened for work: now it is kept
    assert kept_files(read_events(tmp_path / "bay.job"), harness.digest) == ("bay", contents)
    assert digest_of(contents) == harness.digest

    connection = sqlite3.connect(tmp_path / "bay.job")
    kept = connection.execute("SELECT COUNT(*) FROM events WHERE kind = 'profile.kept'").fetchone()
    connection.close()
    assert kept == (1,)

    with JobRecord.create(
        tmp_path / "old.job",
        title="Bay",
        profile_path=str(profile),
        digest="0" * 64,
        who="Ann Example",
        clock=FakeClock(),
    ):
        pass
    assert run(["changes", "old.job"]) == 2
    assert "does not hold its profile" in capsys.readouterr().err
    assert run(["job", "pulled", "old.job", "W8", *ANN, "--reason", "x"]) == 0
    assert "how it was is not in the record" in capsys.readouterr().err
    (changed,) = [e for e in read_events(tmp_path / "old.job") if e.kind == EventKind.PROFILE_CHANGED]
    assert changed.body["known"] is False
    assert any(name.startswith("isolation:") for name in changed.body["again"])


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["P1-66", *ANN, "--reason", "x"], "no contact, run or connector 'P1-66'"),
        (["W88", *ANN, "--reason", "x"], "Did you mean 'W8'?"),
        (["W8", *ANN, "--reason", " "], "a rework needs its reason"),
        (["W8", "--by", "24.0", "--reason", "x"], "'24.0' is no name"),
        ([*ANN, "--reason", "x"], "Missing argument"),
    ],
)
def test_what_is_refused_when_something_was_pulled(profile, capsys, arguments, says):
    assert run(["job", "start", str(profile), "--file", "bay.job", *ANN]) == 0
    assert run(["job", "pulled", "bay.job", *arguments]) == 2
    assert says in capsys.readouterr().err
    assert [e.kind for e in read_events(Path("bay.job")) if e.kind == EventKind.REWORK] == []


def test_changes_needs_two(capsys):
    assert run(["changes", "starter"]) == 2
    assert "Give the folder of the new one" in capsys.readouterr().err
