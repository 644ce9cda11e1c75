"""What the events say, put in order: sessions, readings in force, squawks, waivers, captures. Pure counting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from enum import StrEnum

from benchcheck.plan.plan import Plan
from benchcheck.report import pick
from benchcheck.report.instruments import as_used
from benchcheck.report.standing import outcome_of, standing_of
from benchcheck.words.event import Event, EventKind

# Kinds of squawk whose name with blanks for dashes is not how the trade writes it.
_KINDS = {"crossed_tx_rx": "crossed TX/RX", "wrong_baud": "wrong baud rate", "can_level": "CAN level"}


class SquawkState(StrEnum):
    OPEN = "open"
    CLOSED = "closed"
    WAIVED = "waived"


@dataclass(frozen=True, slots=True)
class Session:
    """One sitting at the bench. `instruments` and `passive` are pairs of device (or bus) and words."""

    who: str
    started_utc: str
    ended_utc: str = ""
    outcome: str = ""
    instruments: tuple[tuple[str, str], ...] = ()
    passive: tuple[tuple[str, str], ...] = ()
    meter: str = ""
    ambient_c: float | None = None
    ambient_said_by: str = ""  # nobody: it is the profile's
    leads: tuple[str, ...] = ()  # what was taken off the ohms, in words, as often as it was measured
    simulated: bool = False
    cautions: tuple[str, ...] = ()
    cautions_by: str = ""
    cautions_utc: str = ""


@dataclass(frozen=True, slots=True)
class SquawkRow:
    """A recorded discrepancy and what became of it."""

    id: str
    kind: str
    where: tuple[str, ...]
    stage: str
    text: str
    steps: tuple[str, ...]
    readings: tuple[Mapping[str, object], ...]
    state: SquawkState
    opened_utc: str
    opened_by: str
    opened_seq: int
    ended_utc: str = ""
    ended_by: str = ""
    reason: str = ""

    @property
    def kind_words(self) -> str:
        """What kind it is, as a heading: `Open run`, `Crossed TX/RX`."""
        words = _KINDS.get(self.kind, self.kind.replace("_", " "))
        return words[:1].upper() + words[1:]


@dataclass(frozen=True, slots=True)
class Waiver:
    what: str  # id of a step or of a squawk
    reason: str
    who: str
    at_utc: str
    seq: int


@dataclass(frozen=True, slots=True)
class Capture:
    file: str
    sha256: str
    bytes: int | None
    seq: int


@dataclass(frozen=True, slots=True)
class Rework:
    """Work on the harness. `again`: how many steps that were done it made due again; None where the event names none."""

    runs: tuple[str, ...]
    connectors: tuple[str, ...]
    reason: str
    who: str
    at_utc: str
    seq: int
    contacts: tuple[str, ...] = ()
    again: int | None = None


@dataclass(frozen=True, slots=True)
class ProfileChange:
    """The profile was another one from here on.

    lines     what changed and matters for the wiring, `cosmetic` what doesn't; none where the old one was not known
    again     how many steps that were done were due again, `new_steps` and `gone_steps`: how many there are since, and no longer
    """

    old: str
    new: str
    known: bool
    lines: tuple[str, ...]
    cosmetic: tuple[str, ...]
    again: int
    new_steps: int
    gone_steps: int
    who: str
    at_utc: str
    seq: int


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that the events say.

    in_force   step id -> the reading or skip that counts
    fallen     step id -> the last one, where none counts any more; `why` says why not
    former     step id -> its other readings and skips, in order
    waived     step or squawk -> the reason of its waiver
    understood whether every event was one that this version knows how to fold
    counts     step id -> how many readings of it there are
    stages     step id -> its stage, where the plan is known
    follow_ups readings taken to find a fault, not to prove a step
    """

    title: str = ""
    profile: str = ""
    digest: str = ""
    started_utc: str = ""
    last_utc: str = ""
    sessions: tuple[Session, ...] = ()
    in_force: Mapping[str, Event] = field(default_factory=dict)
    fallen: Mapping[str, Event] = field(default_factory=dict)
    why: Mapping[str, str] = field(default_factory=dict)
    former: Mapping[str, tuple[Event, ...]] = field(default_factory=dict)
    waived: Mapping[str, str] = field(default_factory=dict)
    understood: bool = True
    counts: Mapping[str, int] = field(default_factory=dict)
    stages: Mapping[str, str] = field(default_factory=dict)
    follow_ups: tuple[Event, ...] = ()
    squawks: tuple[SquawkRow, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    captures: tuple[Capture, ...] = ()
    reworks: tuple[Rework, ...] = ()
    profile_changes: tuple[ProfileChange, ...] = ()

    @property
    def open_squawks(self) -> tuple[SquawkRow, ...]:
        return tuple(row for row in self.squawks if row.state is SquawkState.OPEN)

    @property
    def verdict_counts(self) -> dict[str, dict[str, int]]:
        """Stage -> outcome (or STALE, where none is in force any more) -> how many steps have it.

        Where the plan is not known, skips stand under `skipped`: their events name no stage.
        """
        found: dict[str, dict[str, int]] = {}
        for name, event in {**self.in_force, **self.fallen}.items():
            skipped = event.kind == EventKind.SKIPPED
            stage = self.stages.get(name) or pick.text(event.body, "stage") or ("skipped" if skipped else "not known")
            outcome = "STALE" if name in self.fallen else outcome_of(event) or "UNSURE"
            counts = found.setdefault(stage, {})
            counts[outcome] = counts.get(outcome, 0) + 1
        return found

    @property
    def simulated(self) -> bool:
        return any(session.simulated for session in self.sessions)


def facts_of(events: Sequence[Event], plan: Plan | None = None) -> Facts:
    """The facts of a job, from its events in order; with the plan, what is in force is what the board says."""
    facts = Facts(last_utc=events[-1].at_utc if events else "")
    sessions: list[Session] = []
    read_in: dict[int, list[Event]] = {}  # index of the session -> its readings
    counts: dict[str, int] = {}
    follow_ups: list[Event] = []
    squawks: dict[str, SquawkRow] = {}
    waivers: list[Waiver] = []
    captures: list[Capture] = []
    reworks: list[Rework] = []
    profile_changes: list[ProfileChange] = []
    done: set[str] = set()  # steps that were read, left out or waived
    for event in events:
        body = event.body
        match event.kind:
            case EventKind.JOB_STARTED:
                facts = replace(
                    facts,
                    title=pick.text(body, "title"),
                    profile=pick.text(body, "profile"),
                    started_utc=event.at_utc,
                )
            case EventKind.SESSION_STARTED:
                sessions.append(_session(event))
            case EventKind.CAUTIONS:
                now = _current(sessions, event)
                texts = (*now.cautions, *pick.texts(body, "cautions"))
                sessions[-1] = replace(now, cautions=texts, cautions_by=event.who, cautions_utc=event.at_utc)
            case EventKind.LEAD_ZERO:
                session = _current(sessions, event)
                sessions[-1] = replace(session, leads=(*session.leads, _leads(body)))
            case EventKind.STATE:
                if body.get("simulated") is True:
                    sessions[-1:] = [replace(_current(sessions, event), simulated=True)]
            case EventKind.SESSION_ENDED:
                now = _current(sessions, event)
                sessions[-1] = replace(now, ended_utc=event.at_utc, outcome=pick.text(body, "outcome"))
            case EventKind.READING:
                read_in.setdefault(len(sessions) - 1, []).append(event)
                if body.get("follow_up") is True:
                    follow_ups.append(event)
                elif step := pick.text(body, "step"):
                    counts[step] = counts.get(step, 0) + 1
                    done.add(step)
            case EventKind.SKIPPED:
                done.add(pick.text(body, "step"))
            case EventKind.SQUAWK_OPENED:
                row = _squawk(event)
                squawks[row.id] = row
            case EventKind.SQUAWK_CLOSED:
                _end(squawks, pick.text(body, "id"), SquawkState.CLOSED, event, pick.text(body, "by"))
            case EventKind.WAIVER:
                what = pick.text(body, "squawk") or pick.text(body, "step")
                done.add(what)
                waivers.append(Waiver(what, pick.text(body, "reason"), event.who, event.at_utc, event.seq))
                _end(squawks, what, SquawkState.WAIVED, event, pick.text(body, "reason"))
            case EventKind.CAPTURE:
                size = pick.number(body, "bytes")
                captures.append(
                    Capture(
                        pick.text(body, "file"),
                        pick.text(body, "sha256"),
                        None if size is None else int(size),
                        event.seq,
                    )
                )
            case EventKind.REWORK:
                reworks.append(_rework(event, done))
                done -= pick.table(body, "again").keys()
            case EventKind.PROFILE_CHANGED:
                profile_changes.append(_profile_change(event, done))
                done -= pick.table(body, "again").keys()
    standing = standing_of(events, plan)
    if standing.opened is not None:
        squawks = {
            name: _as_on_board(row, standing.opened, standing.accepted, waivers) for name, row in squawks.items()
        }
    return replace(
        facts,
        digest=events[-1].profile if events else "",
        sessions=tuple(as_used(session, read_in.get(index, ())) for index, session in enumerate(sessions)),
        in_force=standing.in_force,
        fallen=standing.fallen,
        why=standing.why,
        former=standing.former,
        waived=standing.waived,
        understood=standing.opened is not None,
        counts=counts,
        stages={step.id: step.stage.value for step in plan.steps} if plan is not None else {},
        follow_ups=tuple(follow_ups),
        squawks=tuple(squawks.values()),
        waivers=tuple(waivers),
        captures=tuple(captures),
        reworks=tuple(reworks),
        profile_changes=tuple(profile_changes),
    )


def _current(sessions: list[Session], event: Event) -> Session:
    """The session that goes on; one is made up where the record names none."""
    if not sessions or sessions[-1].ended_utc:
        sessions.append(Session(event.who, event.at_utc))
    return sessions[-1]


def _session(event: Event) -> Session:
    body = event.body
    instruments = pick.named(body, "bench")
    simulated = body.get("simulated") is True or any("(simulated)" in words for _, words in instruments)
    meter = ", ".join(f"{name} {words}".strip() for name, words in pick.named(body, "meter"))
    return Session(
        who=event.who,
        started_utc=event.at_utc,
        instruments=instruments,
        passive=pick.named(body, "passive"),
        meter=meter,
        ambient_c=pick.number(body, "ambient_c"),
        ambient_said_by=pick.text(body, "ambient_said_by"),
        simulated=simulated,
    )


def _rework(event: Event, done: Set[str]) -> Rework:
    body = event.body
    return Rework(
        runs=pick.texts(body, "runs"),
        connectors=pick.texts(body, "connectors"),
        reason=pick.text(body, "reason"),
        who=event.who,
        at_utc=event.at_utc,
        seq=event.seq,
        contacts=pick.texts(body, "contacts"),
        again=len(done & pick.table(body, "again").keys()) if "again" in body else None,
    )


def _profile_change(event: Event, done: Set[str]) -> ProfileChange:
    body = event.body
    return ProfileChange(
        old=pick.text(body, "old"),
        new=pick.text(body, "new"),
        known=body.get("known") is True,
        lines=pick.texts(body, "lines"),
        cosmetic=pick.texts(body, "cosmetic"),
        again=len(done & pick.table(body, "again").keys()),
        new_steps=int(pick.number(body, "new_steps") or 0),
        gone_steps=int(pick.number(body, "gone_steps") or 0),
        who=event.who,
        at_utc=event.at_utc,
        seq=event.seq,
    )


def _leads(body: Mapping[str, object]) -> str:
    """A zero of the leads in words."""
    if body.get("own_rel") is True:
        return "taken off by the meter itself"
    ohm, scatter = pick.number(body, "ohm"), pick.number(body, "scatter_ohm")
    if ohm is None or scatter is None:
        return "recorded without a value"
    assumed = pick.text(body, "assumed")
    how = f"not measured ({assumed}), taken for" if assumed else "measured:"
    return f"{how} {ohm:.3g} ohm ± {scatter:.3g} ohm"


def _squawk(event: Event) -> SquawkRow:
    body = event.body
    where = pick.texts(body, "where")
    kind = pick.text(body, "kind") or "unexplained"
    return SquawkRow(
        id=pick.text(body, "id") or f"{kind}:{'+'.join(where)}",
        kind=kind,
        where=where,
        stage=pick.text(body, "stage"),
        text=pick.text(body, "text"),
        steps=pick.texts(body, "steps"),
        readings=tuple(entry for entry in pick.entries(body, "readings") if isinstance(entry, Mapping)),
        state=SquawkState.OPEN,
        opened_utc=event.at_utc,
        opened_by=event.who,
        opened_seq=event.seq,
    )


def _as_on_board(
    row: SquawkRow, opened: frozenset[str], accepted: frozenset[str], waivers: Sequence[Waiver]
) -> SquawkRow:
    """A squawk in the state that the board has it in: a waiver of its steps covers it, a later reading takes that off."""
    if row.id in opened and row.state is not SquawkState.OPEN:
        return replace(row, state=SquawkState.OPEN, ended_utc="", ended_by="", reason="")
    if row.id in accepted and row.state is SquawkState.OPEN:
        given = [waiver for waiver in waivers if waiver.what in (row.id, *row.steps)]
        if given:
            last = given[-1]
            return replace(row, state=SquawkState.WAIVED, ended_utc=last.at_utc, ended_by=last.who, reason=last.reason)
    return row


def _end(squawks: dict[str, SquawkRow], id_: str, state: SquawkState, event: Event, reason: str) -> None:
    row = squawks.get(id_)
    if row is not None and row.state is SquawkState.OPEN:
        squawks[id_] = replace(row, state=state, ended_utc=event.at_utc, ended_by=event.who, reason=reason)
