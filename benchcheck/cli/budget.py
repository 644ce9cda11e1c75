"""`benchcheck budget PROFILE`: what the messages of each bus can make of it at worst, beside what was measured."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchcheck.cli.budget_measured import RESPONSE_RULE, later_note, measured_of, response_at_least_s
from benchcheck.cli.budget_text import budget_lines, budget_rows
from benchcheck.cli.output import output_options, print_json
from benchcheck.cli.profile_named import profile_named
from benchcheck.cli.survey_text import escaped
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchcheck.harness.model import Bus, Message
    from benchcheck.traffic.wire.schedule import Response, Schedule, Sent
    from benchcheck.words.verdict import Outcome

    Json = dict[str, Any]

SCHEMA = "benchcheck.budget/1"


RULES = {
    "response_s": "from being due to the end of the frame, at worst: queuing jitter, one frame of lower priority, all of "
    "higher priority, its own earlier ones; every instance in the busy period of its priority",
    "load": "least: no frame has a stuff bit; worst: each has as many as five equal bits in a row allow",
    "deadline": "the period of the message",
    "measured": "load and periods as `survey` tells them",
    "response_at_least_s": RESPONSE_RULE,
    "not_in_it": "frames repeated after bus errors; what the profile's [[buses.sources]] tell of, which have no length",
    "occasional": "a message without a period: at most one in a busy period, and in no load, unless --occasional says how "
    "often it may come",
    "verdict": "of a bus: FAIL where a message may come later than its period, or the least load is above the limit; "
    "UNSURE where that hangs on messages without a period, or the limit lies between least and worst load",
}


@click.command(
    epilog="""\b
Examples:
  benchcheck budget profiles/survey_launch
  benchcheck budget survey_launch --capture captures/launch_good.pcapng
  benchcheck budget survey_launch --add TIDE --add 1A0,8,0.02

\b
Exit codes: 0 every bus PASS, 1 one FAILs, 2 bad input, 4 one is UNSURE or has no messages."""
)
@click.argument("profile")
@click.option("--capture", type=click.Path(path_type=Path), help="A recording: what was measured is shown beside it.")
@click.option("--add", "added", multiple=True, metavar="WHAT", help="A unit, a message database, or ID,BYTES,SECONDS.")
@click.option("--bus", "bus_name", metavar="NAME", help="The bus that --add adds to, where there are several.")
@click.option("--jitter", "jitter_ms", type=click.FloatRange(0, 1_000), default=0.0, help="Queuing jitter, ms.")
@click.option(
    "--occasional",
    type=click.FloatRange(0.0001, 86_400),
    metavar="S",
    help="Least time between messages without period.",
)
@output_options
def command(
    profile: str,
    capture: Path | None,
    added: tuple[str, ...],
    bus_name: str | None,
    jitter_ms: float,
    occasional: float | None,
    as_json: bool,
    plain: bool,
) -> int:
    """Load and response times of each CAN bus, out of the messages that the profile knows.

    For each bus the load at least and at worst, and for each message how late it may come at worst (the published
    schedulability analysis in its corrected form). --add shows what one more unit or message would do.
    """
    from benchcheck.cli.budget_added import added_messages

    harness = profile_named(profile)[0]
    more = added_messages(added, harness, bus_name)
    if bus_name is not None and not added:
        raise UsageError("--bus says where --add adds", hint="Give --add as well.")
    measured = {} if capture is None else measured_of(capture, harness)
    document: Json = {
        "schema": SCHEMA,
        "profile": harness.name,
        "digest": harness.digest,
        "source": _source(),
        "capture": None if capture is None else capture.name,
        "jitter_s": jitter_ms / 1000,
        "occasional_s": occasional,
        "added": list(added),
        "buses": [
            _bus(bus, more[bus.name], jitter_ms, occasional, measured.get(bus.name), capture is not None)
            for bus in harness.buses
        ],
        "rules": RULES,
    }
    if as_json:
        print_json(document)
    else:
        for line in budget_rows(document) if plain else map(escaped, budget_lines(document)):
            click.echo(line)
    verdicts = {bus["verdict"] for bus in document["buses"]}
    if "FAIL" in verdicts:
        return ExitCode.FAIL
    return ExitCode.PASS if verdicts == {"PASS"} else ExitCode.UNSURE


def _source() -> str:
    from benchcheck.traffic.wire.schedule import SOURCE

    return SOURCE


def _sent(message: Message, jitter_ms: float, occasional: float | None) -> Sent:
    from benchcheck.traffic.wire.schedule import Sent

    period_s = message.period_s or occasional
    return Sent(
        message.can_id,
        message.extended,
        message.length,
        None if period_s is None else max(1, round(period_s * 1e9)),
        round(jitter_ms * 1e6),
        message.name,
        message.sender,
    )


def _bus(
    bus: Bus, more: Sequence[Message], jitter_ms: float, occasional: float | None, heard: Json | None, captured: bool
) -> Json:
    from benchcheck.traffic.wire.schedule import schedule

    known = {(m.can_id, m.extended): _sent(m, jitter_ms, occasional) for m in bus.messages}
    extra = {(m.can_id, m.extended): _sent(m, jitter_ms, occasional) for m in more}
    now = schedule(list(known.values()), bus.bitrate, bus.data_bitrate)
    then = schedule([*known.values(), *extra.values()], bus.bitrate, bus.data_bitrate) if extra else now
    before = {(r.message.can_id, r.message.extended): r for r in now.responses}
    ids: dict[tuple[str, bool], Json] = {(e["id"], e["extended"]): e for e in (heard or {}).get("ids", [])}
    expected = {(r.message.text, r.message.extended) for r in then.responses}
    strangers = [entry["id"] for key, entry in ids.items() if key not in expected]
    outcome, why = _judged(then, bus.max_load_percent)
    stepped = bool((heard or {}).get("clock_steps"))
    messages = [
        _message(
            r, before.get((r.message.can_id, r.message.extended)), bool(extra), ids, heard is not None, stepped=stepped
        )
        for r in then.responses
    ]
    return {
        "name": bus.name,
        "bitrate": bus.bitrate,
        "data_bitrate": bus.data_bitrate,
        "verdict": outcome.value,
        "why": why,
        "max_load_percent": bus.max_load_percent,
        "least_load_percent": then.least_load_percent,
        "worst_load_percent": then.worst_load_percent,
        "without_added": None
        if not extra
        else {
            "least_load_percent": now.least_load_percent,
            "worst_load_percent": now.worst_load_percent,
            "verdict": _judged(now, bus.max_load_percent)[0].value,
        },
        "measured": None
        if heard is None
        else {
            "load_mean_percent": heard["load_mean_recorded_percent"],
            "load_peak_percent": heard["load_peak_recorded_percent"],
            "load_is_lower_bound": heard["load_is_lower_bound"],
            "not_in_the_profile": strangers,
        },
        "notes": [
            *_notes(then, strangers, heard),
            *(["the capture has no traffic of it"] if captured and heard is None else []),
            *_sources_note(bus),
            *later_note(messages),
        ],
        "messages": messages,
    }


def _judged(found: Schedule, limit: float) -> tuple[Outcome, str]:
    """Verdict of a bus, and the reason in a sentence."""
    from benchcheck.words.verdict import Outcome

    late = [r.message.text for r in found.responses if r.verdict is Outcome.FAIL]
    if late:
        return Outcome.FAIL, f"may come later than their period: {', '.join(late)}"
    if found.least_load_percent > limit:
        return Outcome.FAIL, f"even without stuff bits the load is above {limit:g} % (profile)"
    if not found.responses:
        return Outcome.UNSURE, "the profile knows no message of it"
    if found.occasional:
        names = ", ".join(message.text for message in found.occasional)
        return Outcome.UNSURE, f"holds only if these come at most once in a busy period: {names} (no period known)"
    if found.worst_load_percent > limit:
        return Outcome.UNSURE, f"whether the load stays below {limit:g} % (profile) depends on the stuff bits"
    return Outcome.PASS, "every message comes within its period"


def _notes(found: Schedule, strangers: Sequence[str], heard: Json | None) -> Iterator[str]:
    if any(response.message.length > 8 for response in found.responses):
        how = "without a faster data rate (the profile gives none: data_bitrate)"
        if found.data_bitrate is not None:
            how = f"that switch to {found.data_bitrate:,} bit/s"
        yield f"messages of more than 8 bytes are reckoned as FD frames {how}"
    if strangers:
        yield f"heard, but not in the message set: {', '.join(strangers)}"
    mean = None if heard is None else heard["load_mean_recorded_percent"]
    if mean is not None and mean > found.worst_load_percent and not found.occasional:
        yield f"measured {mean:.2f} %, more than the message set can make: it is not all that is sent"


def _sources_note(bus: Bus) -> Iterator[str]:
    known = {(message.can_id, message.extended) for message in bus.messages}
    others = [s.text for s in bus.sources if not s.is_one_identifier or (s.can_id, s.extended) not in known]
    if others:
        yield f"sent as well, and not in it, for nothing tells how long it is: {'; '.join(others)}"


def _message(
    response: Response,
    before: Response | None,
    is_added: bool,
    ids: dict[tuple[str, bool], Json],
    was_heard: bool,
    *,
    stepped: bool,
) -> Json:
    message = response.message
    heard = ids.get((message.text, message.extended))
    period_s = None if message.period_ns is None else message.period_ns / 1e9
    return {
        "id": message.text,
        "extended": message.extended,
        "name": message.name,
        "sender": message.sender,
        "length": message.length,
        "period_s": period_s,
        "least_bits": response.bits.least,
        "most_bits": response.bits.most,
        "response_s": None if response.response_ns is None else response.response_ns / 1e9,
        "instance": response.instance,
        "instances": response.instances,
        "verdict": response.verdict.value,
        "added": is_added and before is None,
        "response_without_added_s": None
        if before is None or before.response_ns is None or not is_added
        else before.response_ns / 1e9,
        "measured": None
        if not was_heard
        else {
            "count": 0 if heard is None else heard["count"],
            "mean_period_s": None if heard is None else heard["mean_period_s"],
            "min_gap_s": None if heard is None else heard["min_gap_s"],
            "max_gap_s": None if heard is None else heard["max_gap_s"],
            "response_at_least_s": None
            if heard is None or stepped
            else response_at_least_s(heard, period_s, response.frame_ns),
        },
    }
