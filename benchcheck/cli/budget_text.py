"""The budget for a person, and for a pipe: lines out of the JSON of `benchcheck budget`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from textwrap import wrap
from typing import Any

from benchcheck.cli.survey_text import escaped

Json = Mapping[str, Any]


def budget_lines(document: Json) -> Iterator[str]:
    for bus in document["buses"]:
        fast = f", FD frames {bus['data_bitrate']:,} bit/s" if bus["data_bitrate"] else ""
        yield f"bus {bus['name']}, {bus['bitrate']:,} bit/s{fast}: {len(bus['messages'])} messages"
        without, measured = bus["without_added"], bus["measured"]
        if without is not None:
            yield f"  load without what is added {_span(without)}"
        yield f"  load {_span(bus)}; at most {bus['max_load_percent']:g} % (profile)"
        if measured is not None:
            mean, peak = measured["load_mean_percent"], measured["load_peak_percent"]
            least = "at least " if measured["load_is_lower_bound"] else ""
            said = [f"{least}{mean:.2f} % mean"] if mean is not None else []
            said += [f"{least}{peak:.2f} % in the fullest second"] if peak is not None else []
            yield f"  measured {', '.join(said) or 'no load'} ({document['capture']})"
        for note in bus["notes"]:
            yield from wrap(f"note: {note}", 98, initial_indent="  ", subsequent_indent="    ")
        yield from _table(bus, without is not None, measured is not None)
        if measured is not None:
            yield "  measured: mean period; met: response time of at least so much (unit and recorder in time)"
        yield f"  {bus['verdict']}: {bus['why']}"
    jitter = document["jitter_s"]
    yield f"jitter of queuing: {1000 * jitter:g} ms{' (the profile gives none; --jitter)' if not jitter else ''}"
    yield f"response times after {document['source']}"


def _table(bus: Json, with_added: bool, was_heard: bool) -> Iterator[str]:
    head = f"  {'identifier':<10} {'message':<18} {'bytes':>5} {'period':>9} {'at worst':>9}"
    head += f" {'was':>9}" if with_added else ""
    yield head + (f" {'measured':>9} {'met':>9}" if was_heard else "") + "  verdict"
    for row in bus["messages"]:
        line = f"  {row['id']:<10} {(row['name'] or row['sender'])[:18]:<18} {row['length']:>5}"
        line += f" {_ms(row['period_s']):>9} {_ms(row['response_s']):>9}"
        if with_added:
            line += f" {'added' if row['added'] else _ms(row['response_without_added_s']):>9}"
        if was_heard:
            heard = row["measured"]
            line += f" {_ms(heard['mean_period_s']) if heard['count'] else 'not heard':>9}"
            line += f" {_ms(heard['response_at_least_s']):>9}"
        yield f"{line}  {row['verdict']}"


def budget_rows(document: Json) -> Iterator[str]:
    """A line a fact, columns parted by tabs."""
    for bus in document["buses"]:
        row: list[object] = ["bus", bus["name"], bus["bitrate"], bus["least_load_percent"], bus["worst_load_percent"]]
        rows = [[*row, bus["max_load_percent"], bus["verdict"], bus["why"]]]
        if bus["measured"] is not None:
            measured = bus["measured"]
            rows.append(["measured", bus["name"], measured["load_mean_percent"], measured["load_peak_percent"]])
        rows += [["note", bus["name"], note] for note in bus["notes"]]
        rows += [
            ["message", bus["name"], m["id"], m["length"], m["period_s"], m["response_s"], m["verdict"], m["name"]]
            + ([m["measured"]["mean_period_s"], m["measured"]["response_at_least_s"]] if m["measured"] else [])
            for m in bus["messages"]
        ]
        yield from ("\t".join("" if cell is None else escaped(str(cell)) for cell in cells) for cells in rows)


def _span(load: Json) -> str:
    return f"{load['least_load_percent']:.2f} % at least, {load['worst_load_percent']:.2f} % at worst"


def _ms(value_s: float | None) -> str:
    return "-" if value_s is None else f"{1000 * value_s:.2f} ms"
