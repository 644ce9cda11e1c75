from __future__ import annotations

import json
import math

from model_bench import shipped
from report_bench import Job, continuity, harness, steps

from benchcheck.plan.plan import Plan
from benchcheck.report.build import build_report
from benchcheck.report.json_report import report_json, report_text
from benchcheck.words.step import Stage


def model(job):
    return build_report(
        harness(), Plan(steps()), job.events, generated_utc="2031-05-04T10:00:00.000000Z", version="0.1"
    )


def test_the_fields_that_stay():
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL", 5.0)
    job.squawk(continuity("W1"))
    document = report_json(model(job))
    assert document["schema"] == "benchcheck.report/1"
    assert document["outcome"] == {"word": "FAIL", "exit_code": 1, "text": "1 open squawk, 1 failed step"}
    (squawk,) = document["squawks"]
    assert {"kind", "where", "stage", "text", "readings"} <= squawk.keys()
    assert (squawk["kind"], squawk["where"], squawk["stage"]) == ("open_run", ["W1"], "dead")
    assert squawk["readings"] == [{"value": 1.0}]
    assert {"summary", "steps", "units", "lines", "buses", "connectors", "sessions", "captures"} <= document.keys()
    step = document["steps"][0]
    assert step["limit"] == {
        "low": None,
        "high": 2.1,
        "unit": "ohm",
        "text": "at most 2.1 ohm",
        "source": "computed: AWG 22, 2 m at 20 C",
    }
    assert step["reading"] == {"text": "5 ohm", "value": 5.0, "unit": "ohm", "uncertainty": 0.3}
    assert document["record"]["head"] == {"seq": len(job.events), "hash": job.events[-1].hash}


def test_not_a_number_is_null_and_the_text_is_strict_json():
    job = Job()
    job.read(continuity("W1"), "UNSURE", math.nan)
    job.squawk(continuity("W1"))
    job.events[-1].body["readings"][0]["value"] = math.inf

    def refuse(name):
        raise AssertionError(name)

    document = json.loads(report_text(model(job)), parse_constant=refuse)
    assert document["steps"][0]["reading"]["value"] is None
    assert document["squawks"][0]["readings"] == [{"value": None}]


def test_limits_have_six_significant_digits():
    job = Job()
    step = continuity("W1")
    band = {"low": None, "high": 2.0700000000000003, "unit": "ohm", "source": "computed"}
    job.read(step, "PASS", 0.2000000001, band=band)
    row = next(entry for entry in report_json(model(job))["steps"] if entry["id"] == step.id)
    assert row["limit"]["high"] == 2.07
    assert row["reading"]["value"] == 0.2000000001  # what was read stays as it was


def test_what_is_proved_apart_stands_beside_what_is_planned():
    starter, plan, _ = shipped("starter")
    job = Job()

    def classes():
        made = build_report(starter, plan, job.events, generated_utc="2031-05-04T10:00:00.000000Z", version="0.1")
        return report_json(made)["isolation"]["classes"]

    assert all(entry["proved"] == 0 < entry["planned"] for entry in classes())
    for step in plan.of_stage(Stage.DEAD):
        job.read(step, "PASS", 0.1)
    assert all(entry["proved"] == entry["planned"] for entry in classes())
    assert report_json(build_report(None, None, job.events, generated_utc="", version=""))["isolation"] is None
