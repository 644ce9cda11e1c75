"""`benchcheck breakout`: the breakout leads of the bench, and the self-check of one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json, say
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchcheck.bench.bench import Bench
    from benchcheck.bench.breakout_lead import BreakoutLead
    from benchcheck.bench.config import BenchConfig
    from benchcheck.jobs.lead_check import LeadQuestion, LeadResult
    from benchcheck.words.reading import Reading

SCHEMA = "benchcheck.breakout/1"


@click.command()
@click.option("--bench", type=click.Path(path_type=Path), help="What is on the bench: bench.toml, or JSON.")
@click.option("--check", "name", metavar="NAME", help="Do the self-check of this lead now.")
@click.option("--by", "who", help="Who does it [your login name].")
@output_options
def command(bench: Path | None, name: str | None, who: str | None, as_json: bool, plain: bool) -> int:
    """List the breakout leads of the bench, with the day of their last self-check, or do the self-check of one.

    Leads are named in bench.toml under [[breakouts]]. In a self-check each way is read end to end, then each against
    those beside it, with nothing on the plug. The result is kept in your data folder; what is read through a lead whose
    self-check is overdue, or failed, is UNSURE.

    \b
    benchcheck breakout
    benchcheck breakout --bench bench.toml --check "lead A" --by "Ann Example"

    Exit codes: 0 all good, 1 a way FAILed, 4 one is overdue or something could not be read.
    """
    from benchcheck.bench.clock import Clock
    from benchcheck.cli.bench_file import find_bench
    from benchcheck.jobs.breakouts import day_of

    config, source = find_bench(bench, Path())
    today = day_of(Clock().wall_ns())
    if name is not None:
        return _check(config, name, who, today.isoformat(), as_json=as_json)
    late = {lead.name: lead.overdue(today) for lead in config.leads}
    if as_json:
        leads = [_lead(lead) | {"overdue": late[lead.name]} for lead in config.leads]
        print_json({"schema": SCHEMA, "bench": config.name, "day": today.isoformat(), "leads": leads})
    else:
        for lead in config.leads:
            half = f"{lead.family}, {lead.gender.value}s"
            click.echo(
                "\t".join([lead.name, half, str(lead), late[lead.name] or "good"]) if plain else _line(lead, late)
            )
        if not config.leads:
            say(f"No breakout lead is listed ({source}): name yours in bench.toml under [[breakouts]].")
    return ExitCode.UNSURE if any(late.values()) else ExitCode.PASS


def _line(lead: BreakoutLead, late: dict[str, str]) -> str:
    from benchcheck.report.visible import visible

    return visible(f"{lead}, {lead.family} with {lead.gender.value}s: {late[lead.name] or 'good'}")


def _lead(lead: BreakoutLead) -> dict[str, object]:
    return {
        "name": lead.name,
        "family": lead.family,
        "gender": lead.gender.value,
        "at": lead.at,
        "ohm": lead.ohm,
        "within_ohm": lead.within_ohm,
        "checked": lead.checked.isoformat() if lead.checked else None,
        "check_days": lead.check_days,
        "sockets": dict(lead.sockets),
    }


def _check(config: BenchConfig, name: str, who: str | None, day: str, *, as_json: bool) -> int:
    from benchcheck.bench.bench import Bench
    from benchcheck.cli.lead_checks import add_check, checks_file
    from benchcheck.cli.login import login_name
    from benchcheck.harness.reading.hints import did_you_mean, shown
    from benchcheck.jobs.asked import StopAsked
    from benchcheck.jobs.lead_check import check_lead, lead_questions
    from benchcheck.report.visible import visible

    lead = next((lead for lead in config.leads if lead.name == name), None)
    if lead is None:
        hint = did_you_mean(name, [lead.name for lead in config.leads], what="Leads")
        raise UsageError(
            f"bench.toml lists no breakout lead {shown(name)}", hint=hint or "Name it under [[breakouts]]."
        )
    if not lead_questions(lead):
        raise UsageError(
            f"the contacts of {name} are not known",
            hint='Give its sockets in bench.toml: sockets = { A = "A", B = "B" }.',
        )
    person = who or login_name()
    with Bench(config) as bench:
        try:
            result = check_lead(lead, _asker(bench, person))
        except StopAsked:
            say("Stopped here; nothing of it is kept.")
            return ExitCode.UNSURE
    if result.outcome.value in ("PASS", "FAIL"):
        add_check(checks_file(), _kept(lead, result, person, day))
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "lead": _lead(lead),
                "outcome": result.outcome.value,
                "ohm": result.ohm,
                "answers": [
                    {"text": answer.text, "reading": answer.reading.to_json(), "outcome": answer.outcome.value}
                    for answer in result.answers
                ],
            }
        )
    else:
        for answer in result.answers:
            click.echo(visible(answer.text))
        click.echo(visible(f"{name}: {result.outcome.value}{_mean(result)}"))
    return {"PASS": ExitCode.PASS, "FAIL": ExitCode.FAIL}.get(result.outcome.value, ExitCode.UNSURE)


def _mean(result: LeadResult) -> str:
    return f", {result.ohm:.3g} ohm a way" if result.ohm is not None else ""


def _kept(lead: BreakoutLead, result: LeadResult, who: str, day: str) -> dict[str, object]:
    meters = {answer.reading.instrument for answer in result.answers}
    return {
        "name": lead.name,
        "family": lead.family,
        "day": day,
        "outcome": result.outcome.value,
        "by": who,
        "meter": ", ".join(sorted(meters - {""})),
        "ways_ohm": result.ways_ohm,
        "failed": [answer.text for answer in result.answers if answer.outcome.value == "FAIL"],
    }


def _asker(bench: Bench, who: str) -> Callable[[LeadQuestion], Reading]:
    """Asks for each reading: typed, or taken from the meter once the leads are there. Its own leads come first."""
    from benchcheck.cli.console import Console
    from benchcheck.jobs.asked import QUIT, SKIP, Question, QuestionKind, StopAsked
    from benchcheck.words.errors import InputError, LinkLost
    from benchcheck.words.lead_zero import LeadZero, without_leads, zero_of
    from benchcheck.words.quantity import parse_quantity
    from benchcheck.words.reading import Reading, ReadingState

    console = Console()
    spec = bench.config.meter_spec
    zero: LeadZero | None = None

    def read(todo: tuple[str, ...]) -> Reading:
        why = ""
        while True:
            kind = QuestionKind.TOUCH if bench.has_meter else QuestionKind.READING
            typed = console.ask(Question(kind, todo, unit="ohm", why=why))
            word, _, rest = typed.partition(" ")
            if word.lower() == QUIT:
                raise StopAsked
            if word.lower() == SKIP:
                return Reading.none(f"left out by {who}: {rest}", "ohm")
            try:
                return bench.meter.ohms() if bench.has_meter else parse_quantity(typed, "ohm", spec=spec, by=who)
            except LinkLost as lost:
                return Reading.none(lost.text, "ohm")
            except InputError as wrong:
                why = f"{wrong.text}. {wrong.hint}".strip()

    def ask(question: LeadQuestion) -> Reading:
        nonlocal zero
        while zero is None:
            found = zero_of([read(("touch the two meter leads together: ohms as the meter shows them",))], spec)
            if isinstance(found, LeadZero):
                zero = found
            else:
                say(f"  ! {found}")
        reading = read((question.text, f"red on {question.red}, black on {question.black}"))
        return without_leads(reading, zero, spec) if reading.state is not ReadingState.NONE else reading

    return ask
