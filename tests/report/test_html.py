from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from report_bench import Job, continuity, harness, steps

from benchcheck.plan.plan import Plan
from benchcheck.report.build import build_report
from benchcheck.report.html import report_html
from benchcheck.report.json_report import report_text
from benchcheck.report.visible import visible
from benchcheck.words.event import EventKind

HOSTILE = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror='alert(1)'>",
    "' onmouseover=alert(1) x='",
    "{{ 7 * 7 }}{% for x in y %}",
    "</style><script>alert(1)</script>",
    "<!-- ]]> -->",
    "javascript:alert(1)",
    "name\u202egnp.exe\u2066\u200b\ufeff",
    "\x1b[31mred\x07\x00\x9b",
    "&lt;b&gt;&amp;",
]


class Page(HTMLParser):
    """What a browser would make of the page: elements, attributes, text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data):
        self.text += data


def hostile_report(text):
    job = Job(title=text, who=text)
    job.add(EventKind.SESSION_STARTED, bench={text: text}, passive={text: text}, meter=text)
    job.add(EventKind.CAUTIONS, cautions=[text])
    job.all_pass()
    step = continuity("W1", text)
    job.read(step, "FAIL", 0.2, text=text, reason=text, question=text, red=text, subject=[text])
    band = {"low": 1.0, "high": 2.0, "unit": text, "source": text}
    job.read(steps()[2], "FAIL", 24.0, text=text, red=text, band=band)
    job.read(steps()[3], "FAIL", 24.0, subject=[text, text], detail={"first_s": 1.0, "state": text})
    job.read(steps()[4], "FAIL", 24.0, subject=[text], detail={"load_by_second_percent": [1.0]})
    job.squawk(step, kind=text, text=text)
    job.add(EventKind.WAIVER, step=text, reason=text)
    job.add(EventKind.SKIPPED, step="continuity:W2", reason=text)
    job.add(EventKind.CAPTURE, file=text, sha256=text)
    job.add(EventKind.REWORK, runs=[text], connectors=[text], reason=text)
    job.read(continuity("W8"), "PASS", 0.1, step=text, question=text, check=text)
    job.add(EventKind.SESSION_ENDED, outcome=text)
    return build_report(harness(text), Plan(steps()), job.events, generated_utc=text, version="0.1")


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_stay_text(text):
    tame, page = Page(report_html(hostile_report("tame"))), Page(report_html(hostile_report(text)))
    assert page.tags == tame.tags
    assert "script" not in page.tags
    assert {name for name, _ in page.attributes} == {name for name, _ in tame.attributes}
    assert not any(name.startswith("on") for name, _ in page.attributes)
    assert visible(text) in page.text


@pytest.mark.parametrize("text", HOSTILE)
def test_no_unseen_character_gets_into_the_page(text):
    page = report_html(hostile_report(text))
    assert page.replace("\n", "").isprintable()


def test_unseen_characters_are_written_out():
    assert visible("a\u202eb\x1b\u200d") == "a⟨U+202E⟩b⟨U+001B⟩⟨U+200D⟩"
    assert visible("Größe 5 °C, 1 kΩ ±2 日本") == "Größe 5 °C, 1 kΩ ±2 日本"


def test_the_page_fetches_nothing():
    page = report_html(hostile_report("tame"))
    assert not re.search(r"https?:|//[a-z]|@import|url\(|<link|<script|<iframe", page)
    assert "default-src 'none'" in page
    assert all(value.startswith("#") for name, value in Page(page).attributes if name in ("href", "src"))


def test_every_verdict_is_a_word_and_a_shape():
    page = report_html(hostile_report("tame"))
    for word in ("PASS", "FAIL", "UNSURE", "SKIPPED", "STALE", "TODO"):
        assert f'id="s-{word}"' in page
    spans = re.findall(
        r'<span class="v v-(\w+)"><svg class="s" aria-hidden="true"><use href="#s-(\w+)"/></svg>([\w ]+)<', page
    )
    assert len(spans) > 10
    assert all(colour == shape == word.replace(" ", "") for colour, shape, word in spans)


def test_what_a_report_must_say():
    page = Page(report_html(hostile_report("tame"))).text
    for phrase in (
        "no airworthiness or safety approval",
        "local codes and licensed practice rule",
        "not authenticated",
        "determined forger",
        "Dead circuits first",
    ):
        assert phrase in page, phrase


def test_charts_are_drawn_from_the_readings():
    job = Job()
    job.all_pass()
    page = report_html(build_report(harness(), Plan(steps()), job.events, generated_utc="", version="0.1"))
    assert page.count('class="chart"') == 3  # feed volts, boot order, load by second
    assert page.count('class="bar"') == 1 + 3  # one unit, three seconds
    assert 'class="mark"' in page


def test_a_report_without_readings_renders():
    page = report_html(build_report(None, None, [], generated_utc="", version="0.1"))
    assert "No session was recorded" in Page(page).text


@pytest.mark.parametrize("text", HOSTILE)
def test_json_keeps_names_as_they_are(text):
    import json

    document = json.loads(report_text(hostile_report(text)))
    assert document["title"] == text
    assert document["squawks"][0]["text"] == text


def test_numbers_headings_and_labels():
    job = Job()
    job.all_pass()
    job.read(continuity("W1"), "FAIL", 7.5)
    job.squawk(continuity("W1"), "crossed_tx_rx", "crossed")
    job.squawk(continuity("W2"), "wrong_baud", "wrong speed")
    page = report_html(build_report(harness(), Plan(steps()), job.events, generated_utc="", version="0.1"))
    assert "7.5&nbsp;ohm" in page  # a number and its unit stay on one line
    assert "at most 2.1&nbsp;ohm" in page
    assert '<span class="what">Crossed TX/RX</span>' in page
    assert '<span class="what">Wrong baud rate</span>' in page
    # on a narrow screen each cell says what it is
    assert '<td data-label="Stage">dead</td>' in page
    assert '<td data-label="Bit rate" class="num">250000&nbsp;bit/s</td>' in page
    assert "Keep the head below" not in page
