"""`benchcheck breakout`: the leads of the bench, their self-check, and that a job heeds it."""

from __future__ import annotations

import io
import json
import re
import sys
from datetime import UTC, date, datetime, timedelta

import pytest
from console_driver import check_by_hand

from benchcheck.cli.bench_file import find_bench
from benchcheck.cli.lead_checks import add_check, checks_file, read_checks
from benchcheck.cli.main import run
from benchcheck.record.store import JobRecord
from benchcheck.words.errors import InputError
from benchcheck.words.event import EventKind

TODAY = datetime.now(UTC).date()
BENCH = """\
[[breakouts]]
name = "lead A"
family = "dsub9"
gender = "pin"
ohm = 0.1

[[breakouts]]
name = "lead B"
family = "dsub15"
gender = "socket"
ohm = 0.1
checked = {day}
"""


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    path = tmp_path / "bench.toml"
    path.write_text(BENCH.format(day=TODAY), encoding="utf-8")
    return path


class Person(io.StringIO):
    """Types what a handheld meter shows; `cut` is a way that is open."""

    def __init__(self, said: io.StringIO, cut: str = "", quits_at: str = "") -> None:
        super().__init__()
        self._said, self._cut, self._quits_at = said, cut, quits_at

    def readline(self, size: int = -1, /) -> str:
        asked = self._said.getvalue().rsplit("ohm> ", 2)[-2]
        if self._quits_at and self._quits_at in asked:
            return "quit\n"
        if "meter leads together" in asked:
            return "0.2\n"
        way = re.search(r"way (\w+) end to end", asked)
        return "0.3\n" if way and way[1] != self._cut else "OL\n"


def check(bench, monkeypatch, *more, **how):
    said = io.StringIO()
    with monkeypatch.context() as patch:
        patch.setattr(sys, "stderr", said)
        patch.setattr(sys, "stdin", Person(said, **how))
        return run(["breakout", "--bench", str(bench), "--check", "lead A", "--by", "Ann Example", *more]), said


def test_the_list(bench, capsys):
    assert run(["breakout", "--bench", str(bench)]) == 4
    assert capsys.readouterr().out == (
        "lead A, 0.1 ohm a way, no self-check, dsub9 with pins: lead A has no self-check that it passed\n"
        f"lead B, 0.1 ohm a way, self-check {TODAY}, dsub15 with sockets: good\n"
    )
    assert run(["breakout", "--bench", str(bench), "--json"]) == 4
    document = json.loads(capsys.readouterr().out)
    assert [lead["overdue"] for lead in document["leads"]] == ["lead A has no self-check that it passed", ""]


def test_no_leads_says_where_to_name_them(bench, capsys):
    bench.write_text('name = "x"\n', encoding="utf-8")
    assert run(["breakout", "--bench", str(bench)]) == 0
    assert "[[breakouts]]" in capsys.readouterr().err


def test_a_self_check_is_kept_and_the_lead_is_good_from_then_on(bench, monkeypatch, capsys):
    code, _ = check(bench, monkeypatch)
    out = capsys.readouterr().out
    assert code == 0
    assert out.splitlines()[0] == "PASS  way 1 end to end: 0.1 ohm"
    assert out.splitlines()[-1] == "lead A: PASS, 0.1 ohm a way"
    (kept,) = read_checks(checks_file())
    assert (kept["name"], kept["day"], kept["outcome"], kept["by"]) == ("lead A", str(TODAY), "PASS", "Ann Example")
    assert run(["breakout", "--bench", str(bench)]) == 0
    lead = find_bench(bench, bench.parent)[0].leads[0]
    assert lead.checked == TODAY


def test_a_self_check_that_fails_takes_the_lead_away(bench, monkeypatch, capsys):
    assert check(bench, monkeypatch)[0] == 0
    code, _ = check(bench, monkeypatch, cut="4")
    assert code == 1
    assert "FAIL  way 4 end to end: OL" in capsys.readouterr().out
    assert [entry["outcome"] for entry in read_checks(checks_file())] == ["PASS", "FAIL"]
    lead = find_bench(bench, bench.parent)[0].leads[0]
    assert "has no self-check that it passed" in lead.overdue(TODAY)


def test_one_that_is_broken_off_is_not_kept(bench, monkeypatch):
    code, said = check(bench, monkeypatch, quits_at="way 5 end to end")
    assert code == 4
    assert "nothing of it is kept" in said.getvalue()
    assert not checks_file().exists()


def test_a_day_that_is_typed_later_counts(bench):
    old = TODAY - timedelta(days=5)
    for outcome in ("PASS", "FAIL"):
        add_check(checks_file(), {"name": "lead B", "family": "dsub15", "day": old.isoformat(), "outcome": outcome})
    assert find_bench(bench, bench.parent)[0].leads[1].checked == TODAY
    bench.write_text(BENCH.format(day=date(2001, 1, 1)), encoding="utf-8")
    assert find_bench(bench, bench.parent)[0].leads[1].checked is None


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "\xff", '{"schema": "benchcheck.breakouts/1", "checks": [{"name": 1}]}', "[" * 100_000]
)
def test_a_file_that_holds_no_self_checks(bench, text):
    checks_file().parent.mkdir(parents=True)
    checks_file().write_text(text, encoding="latin-1")
    with pytest.raises(InputError) as caught:
        find_bench(bench, bench.parent)
    assert "Move it away" in caught.value.hint


def test_a_job_reads_nothing_through_a_lead_that_is_overdue(bench, monkeypatch, capsys, tmp_path):
    # the starter listens and reads its termination through a lead at P2, pins of a 15-way
    job = tmp_path / "starter.job"
    assert run(["job", "start", "starter", "--file", str(job), "--by", "Ann Example"]) == 0
    stages = [str(job), "--bench", str(bench), "--stage"]
    assert check_by_hand(monkeypatch, [*stages, "dead"])[0] == 0

    bench.write_text(BENCH.format(day=date(2001, 1, 1)), encoding="utf-8")
    _, said = check_by_hand(monkeypatch, [*stages, "power"])
    out = capsys.readouterr().out
    assert "put a breakout lead on P2" not in said
    unsure = [line for line in out.splitlines() if "UNSURE" in line]
    assert any("termination:can1" in line and "the self-check of lead B was on 2001-01-01" in line for line in unsure)

    bench.write_text(BENCH.format(day=TODAY).replace("ohm = 0.1\nchecked", "ohm = 0.4\nchecked"), encoding="utf-8")
    _, said = check_by_hand(monkeypatch, [*stages, "power"])
    assert "put the breakout lead 'lead B' on P2" in said
    assert "of the breakout lead at P2" in said
    with JobRecord.open(job) as record:
        bodies = [event.body for event in record.events() if event.kind == EventKind.READING]
    *_, read = [body["reading"] for body in bodies[-20:] if str(body["step"]).startswith("termination:can1:units_in")]
    assert read["detail"]["breakout"] == {"P2": f"lead B, 0.4 ohm a way, self-check {TODAY}"}
    # 60 ohm typed, the meter's own leads taken off by itself, and two ways of 0.4 ohm
    assert read["value"] == pytest.approx(60 - 0.8)


def test_wrong_use(bench, capsys):
    assert run(["breakout", "--bench", str(bench), "--check", "lead C"]) == 2
    assert "lists no breakout lead 'lead C'" in capsys.readouterr().err
