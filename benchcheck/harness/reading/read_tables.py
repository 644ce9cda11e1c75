"""Feeds, parts, buses, links and close-out lists of harness.toml, with their references followed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.line_protocol import TextProtocol
from benchcheck.harness.model import Bus, Cable, Drained, Feed, InBand, Link, Message, Part, PartKind, Run, Talk
from benchcheck.harness.reading.contact_book import ContactBook
from benchcheck.harness.reading.forms import BusForm, CableForm, FeedForm, InBandForm, LinkForm, PartForm, TalkForm
from benchcheck.harness.reading.hints import did_you_mean, shown, unseen
from benchcheck.harness.reading.read_bus_sources import read_bus_sources, told_by_sources
from benchcheck.harness.reading.read_forms import read_list
from benchcheck.harness.reading.toml_text import Path, TomlText
from benchcheck.words.contact import ref_of
from benchcheck.words.errors import FileFault, Place
from benchcheck.words.signal import Signal

UNTOLD_PERIOD_S = 1.0


@dataclass(frozen=True, slots=True)
class DatabaseMessage:
    """One message as a message database tells it; senders are its node names."""

    can_id: int
    extended: bool
    name: str
    senders: tuple[str, ...]
    period_s: float | None
    length: int
    signals: tuple[Signal, ...] = ()


@dataclass(frozen=True, slots=True)
class Database:
    """What was read of a message database, and what is to be said about the reading."""

    messages: tuple[DatabaseMessage, ...]
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class Tables:
    """What the tables of harness.toml may refer to."""

    doc: TomlText
    book: ContactBook
    units: Sequence[str]
    units_complete: bool
    faults: list[FileFault]

    def contact(self, path: Path, contact: str) -> None:
        if wrong := self.book.wrong(contact):
            self.fault(path, f"{path[-1]}: {wrong[0]}", wrong[1])

    def unit(self, path: Path, ref: str) -> None:
        if ref not in self.units and self.units_complete:
            self.fault(path, f"unit {shown(ref)} is not in harness.toml", did_you_mean(ref, self.units, what="Units"))

    def connector(self, path: Path, ref: str) -> None:
        if not self.book.knows(ref):
            hint = did_you_mean(ref, self.book.connectors, what="Connectors")
            self.fault(path, f"{path[-1]}: connector {shown(ref)} is not in harness.toml", hint)

    def fault(self, path: Path, text: str, hint: str) -> None:
        self.faults.append(FileFault(self.doc.place(path), text, hint))


def check_unique(doc: TomlText, what: str, named: Sequence[tuple[Path, str]], faults: list[FileFault]) -> None:
    """Names of one kind are each there once."""
    seen: dict[str, Place] = {}
    for path, name in named:
        place = doc.place(path)
        if name in seen:
            faults.append(
                FileFault(place, f"{what} {shown(name)} is there twice, first at {seen[name]}", "Rename one.")
            )
        seen.setdefault(name, place)


def read_feeds(tables: Tables, forms: Sequence[tuple[Path, FeedForm]]) -> tuple[Feed, ...]:
    check_unique(tables.doc, "feed", [((*path, "name"), form.name) for path, form in forms], tables.faults)
    feeds = []
    for path, form in forms:
        tables.contact((*path, "source"), form.source)
        tables.contact((*path, "ground"), form.ground)
        if form.source == form.ground:
            tables.fault((*path, "ground"), "ground: is the source too", "Name the contact of the return.")
        if form.converter is not None:
            tables.unit((*path, "converter"), form.converter)
            connector = tables.book.connectors.get(ref_of(form.source))
            if connector is not None and form.converter in tables.units and connector.unit != form.converter:
                hint = f"The source of a converter's feed is a harness contact that mates with {form.converter}."
                tables.fault((*path, "source"), f"source: {form.source} is not at unit {form.converter}", hint)
        feeds.append(
            Feed(
                name=form.name,
                nominal_v=form.nominal_v,
                tolerance_percent=form.tolerance_percent,
                source=form.source,
                ground=form.ground,
                converter=form.converter or "",
                limit_a=form.limit_a,
                place=tables.doc.place((*path, "name")),
            )
        )
    return tuple(feeds)


def read_parts(tables: Tables, forms: Sequence[tuple[Path, PartForm]]) -> tuple[Part, ...]:
    check_unique(tables.doc, "part", [((*path, "ref"), form.ref) for path, form in forms], tables.faults)
    parts = []
    for path, form in forms:
        tables.contact((*path, "from"), form.from_)
        tables.contact((*path, "to"), form.to)
        if form.from_ == form.to:
            tables.fault((*path, "to"), f"part from {form.to} to itself", "Name the contact at the other side.")
        kind = PartKind(form.kind)
        if kind in (PartKind.RESISTOR, PartKind.TERMINATOR) and form.ohm == 0:
            tables.fault(path, f"{form.ref}: {kind.value} has no ohm", "Give its resistance in ohms.")
        parts.append(
            Part(
                ref=form.ref,
                kind=kind,
                a=form.from_,
                b=form.to,
                ohm=form.ohm,
                tolerance_percent=form.tolerance_percent,
                rating_a=form.rating_a,
                place=tables.doc.place((*path, "ref")),
            )
        )
    return tuple(parts)


def read_cables(tables: Tables, forms: Sequence[tuple[Path, CableForm]]) -> dict[str, Cable]:
    check_unique(tables.doc, "cable", [((*path, "name"), form.name) for path, form in forms], tables.faults)
    return {
        form.name: Cable(
            name=form.name,
            drained=None if form.drained is None else Drained(form.drained),
            sensitive=form.sensitive,
            unshielded_mm=form.unshielded_mm,
            drain_mm=form.drain_mm,
            insulation_c=form.insulation_c,
            place=tables.doc.place((*path, "name")),
        )
        for path, form in forms
    }


def read_in_band(tables: Tables, forms: Sequence[tuple[Path, InBandForm]]) -> tuple[InBand, ...]:
    seen: set[str] = set()
    for path, form in forms:
        for index, wire in enumerate(form.runs):
            if wire in seen:
                tables.fault((*path, "runs", index), f"runs: {shown(wire)} is in two tables", "List it once.")
            seen.add(wire)
    return tuple(
        InBand(form.runs, form.length_percent, form.contact_ohm, tables.doc.place((*path, "runs")))
        for path, form in forms
    )


def check_in_band(asked: Sequence[InBand], runs: Sequence[Run], faults: list[FileFault]) -> None:
    """Each run that is to be in band is in the pin table, with all that its limits are computed from."""
    by_wire = {run.wire: run for run in runs}
    for entry in asked:
        for wire in entry.runs:
            run = by_wire.get(wire)
            if run is None:
                hint = did_you_mean(wire, list(by_wire), what="Wires")
                faults.append(FileFault(entry.place, f"runs: {shown(wire)} is in no row of pins.csv", hint))
                continue
            lacks = [
                word
                for word, there in (("awg", run.awg), ("length_m", run.length_m), ("to", run.b))
                if there in (None, "", 0)
            ]
            if run.awg == 0:
                lacks.remove("awg")
            if lacks:
                text = f"runs: no limits can be computed for {shown(wire)}, which has no {', '.join(lacks)}"
                faults.append(FileFault(entry.place, text, f"Fill that in, in pins.csv, line {run.place.line}."))


def read_buses(
    tables: Tables,
    forms: Sequence[tuple[Path, BusForm]],
    databases: Mapping[str, Database],
    nodes: Mapping[str, str],
) -> tuple[Bus, ...]:
    """Buses with their messages; `nodes` gives the unit of each sender name."""
    check_unique(tables.doc, "bus", [((*path, "name"), form.name) for path, form in forms], tables.faults)
    buses = []
    for path, form in forms:
        for index, ref in enumerate(form.nodes):
            tables.unit((*path, "nodes", index), ref)
        tables.connector((*path, "adapter_at"), form.adapter_at)
        messages: tuple[Message, ...] = ()
        if form.network is not None and form.network in databases:
            _check_identifiers(tables, (*path, "network"), databases[form.network])
            messages = tuple(
                Message(
                    can_id=entry.can_id,
                    extended=entry.extended,
                    name=entry.name,
                    sender=next((nodes[name] for name in entry.senders if name in nodes), ""),
                    period_s=entry.period_s,
                    length=entry.length,
                    signals=entry.signals,
                )
                for entry in databases[form.network].messages
            )
        if form.data_bitrate is not None and form.data_bitrate < form.bitrate:
            text = f"data_bitrate: {form.data_bitrate} is below bitrate, {form.bitrate}"
            tables.fault((*path, "data_bitrate"), text, "The second part of an FD frame is the faster one.")
        sources = read_bus_sources(tables, path, form, messages)
        buses.append(
            Bus(
                name=form.name,
                bitrate=form.bitrate,
                nodes=form.nodes,
                adapter_at=form.adapter_at,
                messages=told_by_sources(messages, sources),
                max_load_percent=form.max_load_percent,
                max_stub_m=form.max_stub_m,
                place=tables.doc.place((*path, "name")),
                sources=sources,
                data_bitrate=form.data_bitrate,
            )
        )
    return tuple(buses)


def _check_identifiers(tables: Tables, path: Path, database: Database) -> None:
    """A frame is told by its identifier alone, so no two messages may share one."""
    seen: dict[tuple[int, bool], str] = {}
    for entry in database.messages:
        key = (entry.can_id, entry.extended)
        if key in seen:
            what = f"messages {shown(seen[key])} and {shown(entry.name)} have the same identifier {entry.can_id:X}"
            tables.fault(path, what, "Correct the database: they can't be told apart on the bus.")
        seen.setdefault(key, entry.name)


def read_links(
    tables: Tables, forms: Sequence[tuple[Path, LinkForm]], protocols: Sequence[TextProtocol] = ()
) -> tuple[Link, ...]:
    described = {entry.name: entry for entry in protocols}
    check_unique(tables.doc, "link", [((*path, "name"), form.name) for path, form in forms], tables.faults)
    links = []
    for path, form in forms:
        tables.connector((*path, "tap"), form.tap)
        tables.contact((*path, "ground"), form.ground)
        if not form.talks:
            hint = "Write [[links.talks]] below it, with tx and rx."
            tables.fault(path, f"link {shown(form.name)} has no talks", hint)
        talks: list[Talk] = []
        for talk_path, talk in read_list(TalkForm, tables.doc, (*path, "talks"), form.talks, tables.faults):
            tables.contact((*talk_path, "tx"), talk.tx)
            tables.contact((*talk_path, "rx"), talk.rx)
            if talk.tx == talk.rx:
                tables.fault((*talk_path, "rx"), "rx: is the tx contact too", "Name the receiver's contact.")
            connector = tables.book.connectors.get(ref_of(talk.tx))
            if connector is not None and not connector.unit and tables.book.wrong(talk.tx) is None:
                hint = "tx is the harness contact that mates with the transmitting unit."
                tables.fault((*talk_path, "tx"), f"tx: {connector.ref} mates with no unit", hint)
            followed = tables.book.knows(form.tap) and not any(map(tables.book.wrong, (talk.tx, talk.rx)))
            if followed and form.tap not in (ref_of(talk.tx), ref_of(talk.rx)):
                hint = f"It is listened to at an end of its wire: {ref_of(talk.rx)}, or {ref_of(talk.tx)}."
                tables.fault(talk_path, f"tap: {form.tap} is at neither end of {talk.tx} to {talk.rx}", hint)
            sender = connector.unit if connector is not None else ""
            if sender and any(sender == other.sender for other in talks):
                hint = "One talk a unit: list all its types in it. Another transmitter of the unit is another link."
                tables.fault((*talk_path, "tx"), f"tx: {sender} talks on link {shown(form.name)} already", hint)
            timed = talk.period_s is not None
            talks.append(Talk(talk.tx, talk.rx, sender, talk.types, talk.period_s or UNTOLD_PERIOD_S, timed))
        if form.loop_back:
            _check_loop(tables, path, talks)
        links.append(
            Link(
                name=form.name,
                protocol=form.protocol,
                baud=form.baud or 0,
                talks=tuple(talks),
                ground=form.ground,
                tap=form.tap,
                framing=form.framing,
                place=tables.doc.place((*path, "name")),
                described=described.get(form.protocol),
                loop_back=form.loop_back,
            )
        )
    return tuple(links)


def _check_loop(tables: Tables, path: Path, talks: Sequence[Talk]) -> None:
    """What is sent out on one wire of a link comes back on the other one, so it takes both, to one connector."""
    fars = {ref for talk in talks for ref in (ref_of(talk.tx), ref_of(talk.rx))}
    if len(talks) != 2 or len(fars) != 2:
        text = "loop_back: needs one talk each way between two connectors"
        tables.fault((*path, "loop_back"), text, "Leave it out where a link has one wire only.")


def read_closeout(tables: Tables, values: object) -> dict[str, tuple[str, ...]]:
    """Close-out lists by family."""
    found: dict[str, tuple[str, ...]] = {}
    if not isinstance(values, dict):
        return found  # said when the top of the file was read
    for family, steps in values.items():
        path: Path = ("closeout", family)
        if family not in FAMILIES:
            hint = did_you_mean(family, FAMILIES, what="Families", most=40)
            place = tables.doc.key_place(path)
            tables.faults.append(FileFault(place, f"closeout: unknown family {shown(family)}", hint))
        if not isinstance(steps, list) or not all(isinstance(step, str) and step.strip() for step in steps):
            tables.fault(
                path, f"closeout: {shown(family)} is no list of texts", 'Write ["drains on the ring", "clamp"].'
            )
            continue
        for index, step in enumerate(steps):
            if bad := unseen(step):
                text = f"closeout: holds the unseen character U+{ord(bad):04X}"
                tables.fault((*path, index), text, "Type the text again without it.")
        found[family] = tuple(steps)
    return found
