"""`benchcheck job`: start, open, list, show, waive, verify job records; record what was pulled."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.login import login_name
from benchcheck.cli.output import output_options, print_json, say, say_altered
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchcheck.record.verify import Verification
    from benchcheck.report.facts import Facts
    from benchcheck.words.event import Event

SCHEMA_LIST = "benchcheck.job-list/1"
SCHEMA_SHOW = "benchcheck.job/1"
SCHEMA_VERIFY = "benchcheck.job-verify/1"


@click.group()
def command() -> None:
    """Job records: one file a job, events are only ever added.

    \b
    benchcheck job start profiles/mine --by "Ann Example"
    benchcheck job open mine.job
    benchcheck job list
    benchcheck job waive mine.job --squawk open_run:W31 --by "Ann Example" --reason "spare run"
    benchcheck job pulled mine.job P1-3 --by "Ann Example" --reason "bent pin, contact replaced"
    benchcheck job verify mine.job
    """


@command.command()
@click.argument("profile")
@click.option("--file", "file", type=click.Path(path_type=Path), help="The new file [PROFILE.job].")
@click.option("--by", "who", help="Who starts it [your login name].")
@click.option(
    "--isolation", type=click.Choice(["near", "full", "plug"]), default="near", help="What is proved apart [near]."
)
@click.option(
    "--identity", type=click.Choice(["direct", "coded"]), default="direct", help="How a run is found [direct]."
)
def start(profile: str, file: Path | None, who: str | None, isolation: str, identity: str) -> int:
    """Start a job for a profile: a folder, or the name of a profile that comes with benchcheck.

    \b
    Isolation is read in one of three ways:
      near    what can come into touch: neighbours, one cable, chassis, shields, feeds
      full    every net against every other
      plug    every net against all others at once, joined by clips and shorting plugs
    A run is shown to end in its contact
      direct  with a lead at each end
      coded   with both leads at the near end and a coded plug at the far end

    \b
    benchcheck job start starter
    benchcheck job start profiles/mine --file bay.job --by "Ann Example"
    benchcheck job start profiles/mine --isolation plug --identity coded
    """
    from benchcheck.bench.clock import Clock
    from benchcheck.jobs.profile_change import keep_profile
    from benchcheck.plan.plan import make_plan
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_with_files
    from benchcheck.record.store import SUFFIX, JobRecord
    from benchcheck.words.ways import Identity, Isolation, Ways

    folder = find_profile(profile)
    harness, contents = load_with_files(folder)
    ways = Ways(Isolation(isolation), Identity(identity))
    if ways != Ways():
        make_plan(harness, None, ways)  # a way that can't be gone is said before a file is made
    path = file or Path(harness.name + SUFFIX)
    if not path.suffix:
        path = path.with_suffix(SUFFIX)
    with JobRecord.create(
        path,
        title=harness.title,
        profile_path=str(folder.absolute()),
        digest=harness.digest,
        who=who or login_name(),
        clock=Clock(),
        ways=ways.to_json(),
    ) as record:
        keep_profile(record, harness, contents, who=who or login_name())
    say(f"Started {path} for {_visible(harness.title)}.")
    return ExitCode.PASS


@command.command("open")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--bench", type=click.Path(path_type=Path), help="What is on the bench: bench.toml, or JSON.")
@click.option("--by", "who", help="Who works on it [your login name].")
@click.option("--ambient", metavar="C", help="Degrees Celsius at the harness today [asked, once a day].")
def open_job(file: Path, bench: Path | None, who: str | None, ambient: str | None) -> int:
    """Open a job on the screen: the board of its connectors, and step by step what is left to do.

    Without --bench, bench.toml is looked for beside the profile and in your configuration folder; where there is
    none, readings are typed in. Without a screen the same is done with `benchcheck check`.

    \b
    benchcheck job open starter.job --by "Ann Example"
    benchcheck job open bay.job --bench bench.toml
    """
    from benchcheck.cli.opening import open_board

    return open_board(file, bench=bench, who=who or login_name(), ambient=ambient)


@command.command("list")
@click.argument("folder", type=click.Path(path_type=Path), default=Path())
@output_options
def list_jobs(folder: Path, as_json: bool, plain: bool) -> int:
    """List the jobs of a folder, by default this one.

    \b
    benchcheck job list
    benchcheck job list ~/jobs --json
    """
    from benchcheck.record.store import SUFFIX

    if not folder.is_dir():
        raise UsageError("there is no such folder", where=str(folder))
    jobs = [_listed(path) for path in sorted(folder.glob(f"*{SUFFIX}"))]
    if as_json:
        print_json({"schema": SCHEMA_LIST, "folder": str(folder), "jobs": jobs})
        return ExitCode.PASS
    for job in jobs:
        if plain:
            click.echo("\t".join(_visible(str(job[key])) for key in job))
        elif job["error"]:
            click.echo(f"{_visible(str(job['file']))}\n    {_visible(str(job['error']))}")
        else:
            click.echo(f"{_visible(str(job['file']))}  {_visible(str(job['title']))}")
            click.echo(
                f"    {job['events']} events, last used {str(job['last_used'])[:19].replace('T', ' ')} UTC, "
                f"{job['open_squawks'] or 'no'} open squawk{'' if job['open_squawks'] == 1 else 's'}"
            )
    if not jobs and not plain:
        say(f"No jobs in {folder}. `benchcheck job start PROFILE` starts one.")
    return ExitCode.PASS


@command.command()
@click.argument("file", type=click.Path(path_type=Path))
@output_options
def show(file: Path, as_json: bool, plain: bool) -> int:
    """Show what a job holds: verdicts by stage, open squawks, waivers, sessions.

    A record that was altered or is damaged is shown as far as it can be read; the exit code is then 2.

    \b
    benchcheck job show bay.job
    benchcheck job show bay.job --json
    """
    from benchcheck.cli.job_plan import plan_if_readable
    from benchcheck.record.verify import read_as_it_is
    from benchcheck.report.facts import facts_of

    events, faults = read_as_it_is(file)
    _, plan = plan_if_readable(facts_of(events).profile, "this", events)
    facts = facts_of(events, plan)
    if as_json:
        print_json(_shown(file, facts, events, faults))
    else:
        _print(file, facts, events)
    if faults:
        say_altered(file, faults)
        return ExitCode.USAGE
    return ExitCode.PASS


@command.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--step", metavar="ID", help="The step that is accepted as it is.")
@click.option("--squawk", metavar="ID", help="The open squawk that is accepted as it is, with its steps.")
@click.option("--by", "who", help="Who accepts it [your login name].")
@click.option("--reason", required=True, help="Why it may stay so.")
def waive(file: Path, step: str | None, squawk: str | None, who: str | None, reason: str) -> int:
    """Accept a step or an open squawk as it is, by name and with the reason.

    The step then counts as done, and the report shows who accepted it and why. It holds until the step is read anew
    or the squawk opened anew. A waiver opens no gate: what keeps power or a unit out still does.

    \b
    benchcheck job waive bay.job --step bus_errors:can1 --by "Ann Example" --reason "this adapter reports none"
    benchcheck job waive bay.job --squawk open_run:W31 --by "Ann Example" --reason "spare run, not fitted"
    """
    from benchcheck.cli.waiving import waive as record_waiver

    return record_waiver(file, step=step, squawk=squawk, who=who or login_name(), reason=reason)


@command.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("what", metavar="CONTACT…", nargs=-1, required=True)
@click.option("--by", "--who", "who", help="Who did it [your login name].")
@click.option("--reason", required=True, help="Why it was worked on.")
@output_options
def pulled(file: Path, what: tuple[str, ...], who: str | None, reason: str, as_json: bool, plain: bool) -> int:
    """Record that contacts were pulled, reseated or wired anew; what rests on them is then to be done again.

    CONTACT is a contact (P101-4), a run (W101: the contacts at its ends) or a connector (P101: all of its wired
    contacts). Due again are the steps whose readings such work can have spoiled: the runs that end there, what lies
    beside those contacts, the feeds and bus wires that go through them, and the units that were let in on that. Their
    verdicts and waivers fall.

    \b
    benchcheck job pulled bay.job P101-4 P101-5 --by "Ann Example" --reason "pair was exchanged"
    benchcheck job pulled bay.job P101 --by "Ann Example" --reason "connector replaced"
    """
    from benchcheck.cli.pulling import pulled as record_rework

    return record_rework(file, what, who=who or login_name(), reason=reason, as_json=as_json, plain=plain)


@command.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--head", "held", metavar="EVENT:HASH", help="Compare with the head that a report names.")
@output_options
def verify(file: Path, held: str | None, as_json: bool, plain: bool) -> int:
    """Check that no event of a job was altered, removed, inserted or moved.

    Exit code 0: as written. 1: altered or incomplete, and it says at which event. 2: not a job record.
    4: nothing wrong was found, but its side file is missing, so nobody can tell whether the end was cut off.
    It finds accidents and casual edits, not a determined forger, who can compute every hash anew.

    \b
    benchcheck job verify bay.job
    benchcheck job verify bay.job --head 1150:9f2c…
    """
    from benchcheck.record.verify import verify_record

    result = verify_record(file, held=_head(held))
    # a head from a report that is the last event says the same as the side file
    unsure = bool(result.notes) and (held is None or _head(held) != (result.head_seq, result.head_hash))
    if as_json:
        print_json(_verified(file, result))
    else:
        for fault in result.faults:
            click.echo(_visible(fault.text))
        for note in result.notes:
            say(f"Note: {note}.")
        if result.ok:
            sure = "as far as can be told without its side file" if unsure else "as written"
            click.echo(f"{file}: {result.events} events, {sure}. Head {result.head_seq}:{result.head_hash}")
    if not result.ok:
        return ExitCode.FAIL
    return ExitCode.UNSURE if unsure else ExitCode.PASS


def _head(held: str | None) -> tuple[int, str] | None:
    if held is None:
        return None
    seq, _, digest = held.partition(":")
    digest = digest.strip().lower()
    if not (seq.isascii() and seq.isdecimal() and len(digest) == 64 and set(digest) <= set("0123456789abcdef")):
        raise UsageError(
            "not a head: an event's number, a colon, and 64 hexadecimal digits",
            where="--head",
            hint="A report prints it under 'The record'.",
        )
    return int(seq), digest


def _listed(path: Path) -> dict[str, object]:
    from benchcheck.record.rows import read_until_damage
    from benchcheck.report.facts import facts_of
    from benchcheck.words.errors import BenchcheckError

    job: dict[str, object] = {"file": path.name, "title": "", "events": 0, "last_used": "", "open_squawks": 0}
    try:
        events, damage = read_until_damage(path)
    except BenchcheckError as error:
        return job | {"error": error.text}
    facts = facts_of(events)
    return job | {
        "title": facts.title,
        "events": len(events),
        "last_used": facts.last_utc,
        "open_squawks": len(facts.open_squawks),
        "error": damage,
    }


def _shown(file: Path, facts: Facts, events: list[Event], faults: Sequence[str]) -> dict[str, object]:
    return {
        "schema": SCHEMA_SHOW,
        "file": str(file),
        "title": facts.title,
        "profile": facts.profile,
        "digest": facts.digest,
        "events": len(events),
        "damage": faults[0] if faults else "",
        "record": {"verified": not faults, "faults": list(faults)},
        "started_utc": facts.started_utc,
        "last_utc": facts.last_utc,
        "head": {"seq": events[-1].seq, "hash": events[-1].hash} if events else None,
        "verdicts": facts.verdict_counts,
        "open_squawks": [
            {"id": row.id, "kind": row.kind, "where": list(row.where), "stage": row.stage, "text": row.text}
            for row in facts.open_squawks
        ],
        "waivers": [{"what": row.what, "reason": row.reason, "who": row.who} for row in facts.waivers],
        "sessions": [
            {"who": row.who, "started_utc": row.started_utc, "ended_utc": row.ended_utc, "outcome": row.outcome}
            for row in facts.sessions
        ],
        "reworks": [
            {"contacts": list(row.contacts), "reason": row.reason, "who": row.who, "due_again": row.again}
            for row in facts.reworks
        ],
        "profile_changes": [
            {"lines": list(row.lines), "who": row.who, "due_again": row.again, "event": row.seq}
            for row in facts.profile_changes
        ],
    }


def _print(file: Path, facts: Facts, events: list[Event]) -> None:
    from benchcheck.words.quantity import counted

    click.echo(f"{_visible(facts.title)} ({file}, {len(events)} events)")
    click.echo(f"profile {_visible(facts.profile)}, SHA-256 {facts.digest}")
    for stage, counts in facts.verdict_counts.items():
        words = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
        click.echo(f"{_visible(stage)}: {words}")
    squawks = facts.open_squawks
    click.echo(f"open squawks: {len(squawks) or 'none'}")
    for number, row in enumerate(squawks, 1):
        click.echo(f"  {number}. [{_visible(row.stage)}] {_visible(row.text)}")
    for waiver in facts.waivers:
        click.echo(f"waiver: {_visible(waiver.what)}: {_visible(waiver.reason)} ({_visible(waiver.who)})")
    for rework in facts.reworks:
        what = ", ".join(rework.contacts or rework.runs + rework.connectors)
        due = f", {counted(rework.again, 'step')} due again" if rework.again is not None else ""
        click.echo(f"rework: {_visible(what)}: {_visible(rework.reason)} ({_visible(rework.who)}){due}")
    for change in facts.profile_changes:
        told = counted(len(change.lines), "change") if change.known else "how it was before is not in this record"
        click.echo(
            f"profile changed: {told}, {counted(change.again, 'step')} due again, {change.new_steps} new, {change.gone_steps} gone"
        )
    for session in facts.sessions:
        end = f" to {session.ended_utc[:19]}" if session.ended_utc else ", not ended"
        outcome = f", {_visible(session.outcome)}" if session.outcome else ""
        click.echo(f"session: {_visible(session.who)}, {session.started_utc[:19]}{end}{outcome}")


def _verified(file: Path, result: Verification) -> dict[str, object]:
    return {
        "schema": SCHEMA_VERIFY,
        "file": str(file),
        "ok": result.ok,
        "events": result.events,
        "head": {"seq": result.head_seq, "hash": result.head_hash},
        "faults": [{"event": fault.seq, "text": fault.text} for fault in result.faults],
        "notes": list(result.notes),
    }


def _visible(text: str) -> str:
    from benchcheck.report.visible import visible

    return visible(text)
