"""`benchcheck face PROFILE REF`: where the contacts of a connector lie, on the side that you look at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from benchcheck.cli.output import output_options, print_json
from benchcheck.cli.profile_named import profile_named
from benchcheck.words.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from benchcheck.harness.connector.geometry import Face
    from benchcheck.harness.model import Connector, Harness

SCHEMA = "benchcheck.face/1"
LEADS = "RB"  # the red lead, then the black one
MORE = "*"


@click.command()
@click.argument("profile")
@click.argument("ref")
@click.option("--side", type=click.Choice(["mating", "wiring"]), default="mating", help="The side that you look at.")
@click.option("--mark", metavar="CONTACTS", default="", help="Contacts to mark: 4,7 (red, black).")
@output_options
def command(profile: str, ref: str, side: str, mark: str, as_json: bool, plain: bool) -> int:
    """Show where the contacts of a connector lie, on the side that you look at.

    PROFILE is a folder, or the name of a profile that comes with benchcheck; REF is a connector of it. What you see is
    the half on the harness: a half with sockets shows the mirror image of one with pins, and so does the wiring side.

    \b
    benchcheck face starter P1
    benchcheck face starter P1 --side wiring --mark 3,5     marked R and B
    benchcheck face starter P1 --plain                      a line a contact, columns parted by tabs
    """
    from textwrap import wrap

    from benchcheck.harness.connector.face_drawing import WIDTH, draw_face, face_title, mark_words
    from benchcheck.harness.connector.geometry import Face, layout, location, seen
    from benchcheck.report.visible import visible

    harness = profile_named(profile)[0]
    connector = _connector(harness, ref)
    face = Face(side)
    marks = _marks(connector, mark)
    if as_json:
        print_json(_document(harness, connector, face, marks))
    elif plain:
        for pin, (x_mm, y_mm) in seen(connector, face).items():
            spot = [f"{x_mm:.2f}", f"{y_mm:.2f}"] if layout(connector).to_scale else ["", ""]
            click.echo("\t".join([pin, *spot, marks.get(pin, ""), location(connector, pin, face)]))
    else:
        click.echo(visible(face_title(connector, face)))
        for line in draw_face(connector, face, marks):
            click.echo(line)
        for words in mark_words(connector, face, marks):
            for line in wrap(visible(words), WIDTH, subsequent_indent="    "):
                click.echo(line)
        if caution := layout(connector).caution:
            for line in wrap(f"Note: {caution}.", WIDTH):
                click.echo(line)
    return ExitCode.PASS


def _connector(harness: Harness, ref: str) -> Connector:
    from benchcheck.harness.connector.families import FAMILIES
    from benchcheck.harness.reading.hints import did_you_mean, shown

    connector = harness.connectors.get(ref)
    if connector is None:
        raise UsageError(
            f"{harness.name} has no connector {shown(ref)}",
            hint=did_you_mean(ref, list(harness.connectors), what="Connectors", most=40),
        )
    if FAMILIES[connector.family].single:
        raise UsageError(f"{ref} is a {connector.family}: it is one contact, and has no face")
    return connector


def _marks(connector: Connector, given: str) -> dict[str, str]:
    from benchcheck.harness.reading.hints import did_you_mean, shown

    marks: dict[str, str] = {}
    for word in (word.strip() for word in given.split(",")):
        if not word:
            continue
        pin = word.removeprefix(f"{connector.ref}-")
        if pin not in connector.contacts:
            raise UsageError(
                f"{connector.ref} has no contact {shown(pin)}",
                hint=did_you_mean(pin, connector.contacts, what="It has", most=130),
            )
        marks.setdefault(pin, LEADS[len(marks)] if len(marks) < len(LEADS) else MORE)
    return marks


def _document(harness: Harness, connector: Connector, face: Face, marks: dict[str, str]) -> dict[str, object]:
    from benchcheck.harness.connector.geometry import layout, location, neighbours_of, seen

    laid = layout(connector)
    beside: dict[str, list[str]] = {pin: [] for pin in connector.contacts}
    for one, other in sorted(neighbours_of(connector)):
        beside[one].append(other)
        beside[other].append(one)
    order = {pin: number for number, pin in enumerate(connector.contacts)}
    return {
        "schema": SCHEMA,
        "profile": harness.name,
        "digest": harness.digest,
        "connector": connector.ref,
        "family": connector.family,
        "gender": connector.gender.value,
        "side": face.value,
        "to_scale": laid.to_scale,
        "source": laid.source,
        "caution": laid.caution,
        "contacts": [
            {
                "contact": pin,
                "x_mm": round(x_mm, 3) if laid.to_scale else None,
                "y_mm": round(y_mm, 3) if laid.to_scale else None,
                "x": round(x_mm, 3),
                "y": round(y_mm, 3),
                "location": location(connector, pin, face),
                "size": connector.size_of(pin),
                "neighbours": sorted(beside[pin], key=order.__getitem__),
                "mark": marks.get(pin, ""),
            }
            for pin, (x_mm, y_mm) in seen(connector, face).items()
        ],
    }
