from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report_bench import Job, continuity, harness, steps

from benchcheck.plan.plan import Plan
from benchcheck.readiness.board import fold
from benchcheck.report.build import build_report
from benchcheck.report.html import report_html
from benchcheck.report.json_report import report_text
from benchcheck.report.model import ReportModel, Word
from benchcheck.words.errors import ExitCode
from benchcheck.words.event import Event, EventKind
from benchcheck.words.step import Stage


def report(job, plan=None, **more) -> ReportModel:
    return build_report(
        harness(),
        Plan(steps()) if plan is None else plan,
        job.events,
        generated_utc="2031-05-04T10:00:00.000000Z",
        version="0.1",
        **more,
    )


def row(model, step_id):
    return next(entry for entry in model.steps if entry.id == step_id)


def test_nothing_measured_is_unsure():
    model = report(Job())
    assert model.outcome is ExitCode.UNSURE
    assert {entry.word for entry in model.steps} == {Word.TO_DO}
    assert row(model, "continuity:W1").limit == "at most 2.1 ohm"  # the plan's limit is shown before it is read


def test_all_passed():
    job = Job()
    job.all_pass()
    model = report(job)
    assert (model.outcome, model.outcome_text) == (ExitCode.PASS, "all steps pass")
    assert [(entry.stage, entry.steps, entry.words[Word.PASS]) for entry in model.summary] == [
        ("dead", 2, 2),
        ("power", 1, 1),
        ("live", 3, 3),
    ]


def test_the_latest_reading_is_in_force_and_the_count_of_readings_is_kept():
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL", text="open", reason="open")
    assert report(job).outcome is ExitCode.FAIL
    job.read(continuity("W1"), "PASS", 0.3)
    model = report(job)
    assert model.outcome is ExitCode.PASS
    first = row(model, "continuity:W1")
    assert (first.times, first.seq, first.word) == (3, job.events[-1].seq, Word.PASS)


def test_a_reading_with_its_limit_source_instrument_and_event():
    job = Job()
    job.read(continuity("W1"), "PASS", 0.25)
    found = row(report(job), "continuity:W1")
    assert (found.reading, found.uncertainty) == ("0.25 ohm", "± 0.3 ohm")
    assert (found.limit, found.limit_source) == ("at most 2.1 ohm", "computed: AWG 22, 2 m at 20 C")
    assert (found.instrument, found.who, found.seq) == ("meter 1", "Ann Example", 2)
    assert found.contacts == "P101-1 to P102-1"
    assert found.state == "supply off; all connectors open"


def test_an_overload_says_more_than_what():
    job = Job()
    job.read(continuity("W1"), "FAIL")
    assert row(report(job), "continuity:W1").reading == "OL (over 40 Mohm)"


def test_follow_up_readings_prove_no_step():
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL", follow_up=True, verdict=None)
    model = report(job)
    assert model.outcome is ExitCode.PASS
    assert len(model.follow_ups) == 1


def test_an_open_squawk_is_a_fail_and_its_closing_is_shown():
    job = Job()
    job.all_pass()
    job.squawk(continuity("W1"))
    model = report(job)
    assert model.outcome is ExitCode.FAIL
    assert [entry.text for entry in model.squawks] == ["W1 is open"]
    job.add(EventKind.SQUAWK_CLOSED, id="open_run:W1", by="continuity:W1")
    model = report(job)
    assert model.outcome is ExitCode.PASS
    assert (model.squawks, [entry.state.value for entry in model.ended_squawks]) == ((), ["closed"])


def test_a_closed_squawk_that_shows_again_is_open_again():
    job = Job()
    job.squawk(continuity("W1"))
    job.add(EventKind.SQUAWK_CLOSED, id="open_run:W1", by="x")
    job.squawk(continuity("W1"))
    assert len(report(job).squawks) == 1


def test_a_waived_squawk_covers_its_steps_but_not_a_later_reading():
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL")
    job.squawk(continuity("W1"))
    job.add(EventKind.WAIVER, who="Ben Example", squawk="open_run:W1", reason="spare run")
    model = report(job)
    assert (model.outcome, model.outcome_text) == (ExitCode.PASS, "all steps pass, 1 of them by waiver")
    assert row(model, "continuity:W1").waived == "spare run"
    assert row(model, "continuity:W1").word is Word.FAIL  # the waiver hides nothing
    job.read(continuity("W1"), "FAIL")
    assert report(job).outcome is ExitCode.FAIL


@pytest.mark.parametrize(("waived", "outcome"), [(False, ExitCode.UNSURE), (True, ExitCode.PASS)])
def test_a_skip_counts_as_pass_with_a_waiver_only(waived, outcome):
    job = Job()
    job.all_pass()
    job.add(EventKind.SKIPPED, step="continuity:W2", reason="not delivered")
    if waived:
        job.add(EventKind.WAIVER, step="continuity:W2", reason="accepted")
    model = report(job)
    assert model.outcome is outcome
    assert [(entry.id, entry.text) for entry in model.skipped] == [("continuity:W2", "not delivered")]


def test_a_rework_makes_what_it_names_stale():
    job = Job()
    job.all_pass()
    job.add(EventKind.REWORK, runs=["W1"], connectors=[], reason="crimp renewed")
    model = report(job)
    assert row(model, "continuity:W1").word is Word.STALE
    assert row(model, "continuity:W2").word is Word.PASS
    assert model.outcome is ExitCode.UNSURE
    job.read(continuity("W1"), "PASS", 0.2)
    assert report(job).outcome is ExitCode.PASS


@pytest.mark.parametrize("kind", [EventKind.REWORK, EventKind.PROFILE_CHANGED])
@pytest.mark.parametrize("with_plan", [True, False])
def test_what_an_event_puts_back_is_stale_until_it_is_read_again(kind, with_plan):
    def told():
        if with_plan:
            return report(job)
        return build_report(None, None, job.events, generated_utc="", version="0.1")

    job = Job()
    job.all_pass()
    job.add(EventKind.WAIVER, step="continuity:W1", reason="spare")
    job.add(kind, contacts=["P101-1"], reason="bent", again={"continuity:W1": "P101-1"}, old="o", new="n", known=True)
    model = told()
    stale = row(model, "continuity:W1")
    assert (stale.word, stale.waived) == (Word.STALE, "")
    assert "P101-1" in stale.text
    assert row(model, "continuity:W2").word is Word.PASS
    assert model.outcome is ExitCode.UNSURE
    job.read(continuity("W1"), "PASS", 0.2)
    assert row(told(), "continuity:W1").word is Word.PASS
    if with_plan:
        assert told().outcome is ExitCode.PASS


def test_reworks_and_changes_of_the_profile_are_listed():
    job = Job()
    job.all_pass()
    job.add(EventKind.REWORK, contacts=["P101-1"], runs=[], connectors=[], reason="bent", again={"continuity:W1": ""})
    job.add(
        EventKind.PROFILE_CHANGED,
        old="o",
        new="n",
        known=True,
        lines=["run W9 added: <b>P1</b>"],
        cosmetic=["run W1: note x, was nothing"],
        again={"continuity:W2": "", "continuity:W3": ""},
        new_steps=3,
        gone_steps=1,
    )
    job.add(EventKind.PROFILE_CHANGED, old="n", new="m", known=False, again={})
    model = report(job)
    document = json.loads(report_text(model))
    assert [(r["contacts"], r["reason"], r["due_again"]) for r in document["reworks"]] == [(["P101-1"], "bent", 1)]
    first, second = document["profile_changes"]
    # W3 was never read, so it is not due *again*
    assert (first["due_again"], first["new_steps"], first["gone_steps"], first["known"]) == (1, 3, 1, True)
    assert (second["lines"], second["known"]) == ([], False)
    page = report_html(model)
    assert "run W9 added: &lt;b&gt;P1&lt;/b&gt;" in page
    assert "How it was before is not in this record." in page
    assert "P101-1" in page


def test_a_change_that_the_record_does_not_hold_yet_makes_stale_what_it_makes_due():
    job = Job()
    job.all_pass()
    model = build_report(
        harness(),
        Plan(steps()),
        job.events,
        generated_utc="",
        version="0.1",
        due_again={"continuity:W1": "W1 was changed", "continuity:W9": "never read"},
    )
    assert row(model, "continuity:W1").word is Word.STALE
    assert "the pin table was changed: W1 was changed" in row(model, "continuity:W1").text
    assert row(model, "continuity:W2").word is Word.PASS
    assert model.outcome is ExitCode.UNSURE


def test_a_failure_is_not_talked_away_by_a_skip_or_a_lost_meter():
    job = Job()
    job.all_pass()
    failed = job.read(continuity("W1"), "FAIL", text="open", reason="open")
    job.add(EventKind.SKIPPED, step="continuity:W1", reason="no time")
    job.read(continuity("W1"), "UNSURE", 0.3, text="the link was lost", reason="no_reading")
    model = report(job)
    assert model.outcome is ExitCode.FAIL
    first = row(model, "continuity:W1")
    assert (first.word, first.seq) == (Word.FAIL, failed.seq)
    assert [former.word for former in first.former] == [Word.PASS, Word.SKIPPED, Word.UNSURE]
    without_plan = build_report(None, None, job.events, generated_utc="", version="0.1")
    assert row(without_plan, "continuity:W1").word is Word.FAIL


def test_every_earlier_reading_of_a_step_is_listed():
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL", 7.5, text="too much", reason="high")
    job.read(continuity("W1"), "PASS", 0.3)
    model = report(job)
    former = row(model, "continuity:W1").former
    assert [(entry.reading, entry.value, entry.word, entry.seq) for entry in former] == [
        ("0.2 ohm", 0.2, Word.PASS, 2),
        ("7.5 ohm", 7.5, Word.FAIL, 8),
    ]
    assert former[1].at_utc == job.events[7].at_utc
    listed = json.loads(report_text(model))["steps"][0]["former"]
    assert [(entry["reading"]["value"], entry["word"], entry["event"]) for entry in listed] == [
        (0.2, "PASS", 2),
        (7.5, "FAIL", 8),
    ]
    assert "7.5&nbsp;ohm FAIL, 2031-05-04 09:00:08 UTC, event 8" in report_html(model)


def test_what_rests_on_a_mended_conductor_is_stale_as_on_the_board():
    # Both gates of one feed: W1's contacts were worked on after the feed was read.
    plan = Plan(steps(), {"P101-1": 0, "P102-1": 0, "P101-3": 0, "P101-2": 1, "P102-2": 1})
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL", reason="open")
    job.read(continuity("W1"), "PASS", 0.2)
    model = report(job, plan)
    board = fold(plan, job.events)
    fallen = {step.id for step in plan.steps} - set(board.results)
    assert fallen == {"feed_volts:P101-3:P101-4"}
    assert {entry.id for entry in model.steps if entry.word is Word.STALE} == fallen
    assert "worked on" in row(model, "feed_volts:P101-3:P101-4").text
    assert (model.outcome, board.exit_code([Stage.POWER])) == (ExitCode.UNSURE, ExitCode.UNSURE)


def test_a_step_that_the_profile_has_changed_is_stale():
    job = Job()
    job.all_pass()
    changed = [replace(step, red="P101-9") if step.id == "continuity:W1" else step for step in steps()]
    model = report(job, Plan(tuple(changed)))
    first = row(model, "continuity:W1")
    assert first.word is Word.STALE
    assert "the profile has changed this step" in first.text
    assert model.outcome is ExitCode.UNSURE


def test_a_waived_squawk_that_is_opened_anew_is_open():
    job = Job()
    job.all_pass()
    job.squawk(continuity("W1"))
    job.add(EventKind.WAIVER, who="Ben Example", squawk="open_run:W1", reason="spare run")
    assert report(job).outcome is ExitCode.PASS
    job.read(continuity("W1"), "FAIL")
    job.squawk(continuity("W1"))
    model = report(job)
    assert (model.outcome, len(model.squawks), model.ended_squawks) == (ExitCode.FAIL, 1, ())


def test_waivers_of_all_its_steps_cover_a_squawk():
    job = Job()
    job.all_pass()
    job.squawk(continuity("W1"))
    job.add(EventKind.WAIVER, who="Ben Example", step="continuity:W1", reason="spare run")
    model = report(job)
    assert model.outcome is ExitCode.PASS
    assert [(row.state.value, row.ended_by, row.reason) for row in model.ended_squawks] == [
        ("waived", "Ben Example", "spare run")
    ]


def test_a_record_that_is_not_as_it_was_written_never_says_pass():
    job = Job()
    job.all_pass()
    model = report(job, record_faults=("event 2 was altered",))
    assert model.outcome is ExitCode.UNSURE
    assert "event 2 was altered" in model.outcome_text
    document = json.loads(report_text(model))
    assert (document["record"]["verified"], document["record"]["faults"]) == (False, ["event 2 was altered"])
    assert "not as it was written" in report_html(model)
    assert json.loads(report_text(report(job)))["record"]["verified"]
    job.read(continuity("W1"), "FAIL")
    assert report(job, record_faults=("event 2 was altered",)).outcome is ExitCode.FAIL


def test_events_of_a_later_version_prove_nothing():
    job = Job()
    job.all_pass()
    job.add(EventKind.SQUAWK_CLOSED, by="nobody")
    model = report(job)
    assert model.outcome is ExitCode.UNSURE
    assert "does not understand" in model.outcome_text


def test_ports_that_were_read_through_are_not_called_unopened():
    job = Job()
    bench = {
        "meter": "readings typed in",
        "can can1": "slcan on /dev/pts/3, not opened",
        "can can2": "slcan on /dev/pts/30, not opened",
        "serial tap1": "/dev/pts/4, not opened",
    }
    job.add(EventKind.SESSION_STARTED, bench=bench, passive={"can1": "can't be proved silent", "can2": "not asked"})
    adapter = "slcan on /dev/pts/3, 250000 bit/s as configured; silent; error frames not reported by this adapter"
    load = next(step for step in steps() if step.check == "bus_load")
    detail = {"passive": "silent: opened with its listening command"}
    reading = {"state": "value", "unit": "frames", "value": 9.0, "instrument": adapter, "detail": detail}
    job.read(load, "PASS", 0.0, reading=reading)
    job.read(continuity("W1"), "PASS", 0.2)  # with "meter 1", which the session did not know of
    (session,) = report(job).sessions
    assert dict(session.instruments) == bench | {"can can1": adapter, "read with": "meter 1"}
    assert dict(session.passive) == {"can1": "silent: opened with its listening command", "can2": "not asked"}


def test_what_cannot_be_proved_has_its_own_list():
    job = Job()
    job.read(continuity("W1", "lift W9 off GND1"), "UNSURE", 0.2, reason="cannot_prove", text="can't prove as wired")
    assert [entry.note for entry in report(job).cannot_prove] == ["lift W9 off GND1"]


def test_connectors_show_the_worst_of_their_steps():
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL")
    rows = {entry.ref: entry.stages for entry in report(job).connectors}
    assert rows["P101"]["dead"] == (Word.FAIL, "1 of 2")
    assert rows["P101"]["power"] == (Word.PASS, "1")
    assert rows["P102"]["power"] == (None, "")


def test_units_buses_and_errors_that_are_not_reported():
    job = Job()
    job.all_pass()
    heard = next(step for step in steps() if step.check == "bus_errors")
    reading = {"state": "none", "unit": "frames", "detail": {"why": "not reported by this adapter"}}
    job.read(heard, "UNSURE", 0.0, reading=reading)
    model = report(job)
    (unit,) = model.units
    assert (unit.unit, unit.bus, unit.state, unit.first_s, unit.boot_s) == ("NAV", "can1", "present", 0.8, 1.5)
    (bus,) = model.buses
    assert (bus.bitrate, bus.frames, bus.load_mean_percent) == (250_000, 900, 20.5)
    assert bus.errors == "not reported by this adapter"
    assert bus.load_by_second == (20.0, 22.0, 19.5)
    assert model.outcome is ExitCode.UNSURE


def test_sessions_with_instruments_and_cautions():
    job = Job()
    job.add(
        EventKind.SESSION_STARTED,
        bench={"bench": "launch bench (simulated)", "meter": "Example,DMM,1,2"},
        passive={"can1": "this interface acknowledges"},
        ambient_c=19.5,
        meter="ordinary handheld meter",
    )
    job.add(EventKind.CAUTIONS, cautions=["dead circuits first"], who="Ben Example")
    job.add(EventKind.SESSION_ENDED, outcome="FAIL")
    model = report(job)
    (session,) = model.sessions
    assert model.simulated
    assert ("meter", "Example,DMM,1,2") in session.instruments
    assert session.passive == (("can1", "this interface acknowledges"),)
    assert (session.cautions, session.cautions_by) == (("dead circuits first",), "Ben Example")
    assert (session.outcome, session.ambient_c) == ("FAIL", 19.5)


def test_without_its_profile_a_report_is_made_from_what_was_recorded():
    job = Job()
    job.all_pass()
    model = build_report(None, None, job.events, generated_utc="", version="0.1")
    assert model.outcome is ExitCode.UNSURE
    assert "the plan can't be read" in model.outcome_text
    assert [entry.id for entry in model.steps] == [step.id for step in steps()]
    assert model.connectors == ()
    assert "does run W1 go" in report_html(model)


def test_steps_of_an_earlier_plan_are_shown_but_do_not_count():
    job = Job()
    job.all_pass()
    job.read(continuity("W9"), "FAIL")
    model = report(job)
    assert model.outcome is ExitCode.PASS
    assert [entry.id for entry in model.former] == ["continuity:W9"]


def test_a_changed_profile_is_said():
    job = Job()
    assert not report(job).profile_changed
    last = job.events[-1]
    job.events[-1] = Event(*(getattr(last, name) if name != "profile" else "e" * 64 for name in Event.__slots__))
    assert report(job).profile_changed


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["step", "reading", "verdict", "band", "detail", "state", "where", "id", "low", "outcome"]),
            inner,
            max_size=5,
        )
    ),
    max_leaves=10,
)
KEYS = ["step", "check", "stage", "reading", "verdict", "band", "subject", "state", "id", "where", "steps", "runs"]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(list(EventKind)), st.dictionaries(st.sampled_from(KEYS), json_values))))
def test_no_body_however_odd_breaks_a_report(bodies):
    job = Job()
    for kind, body in bodies:
        job.add(kind, **body)
    model = report(job)
    report_html(model)
    report_text(model)
