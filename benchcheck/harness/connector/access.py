"""How a contact is touched in a bench state: with what, on which side, and where to look for it."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.connector.geometry import Face, location, spot_words
from benchcheck.harness.model import Connector, Gender, Harness
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import RING, SHELL, contact_key, pin_of, ref_of

# Where the length of a run is not given: only which contact of a net is the nearest hangs on it.
_LENGTH_UNKNOWN_M = 1.0


class TouchKind(StrEnum):
    """What a lead is put on."""

    STUD = "stud"
    LUG = "lug"  # lifted off for the step
    RING = "ring"  # the ring terminal that gathers drains
    SCREW = "screw"
    SHELL = "shell"
    PIN = "pin"
    SOCKET = "socket"
    BREAKOUT = "breakout"  # a socket of a breakout lead
    BACK = "back"  # the back of a connector that something is plugged on
    SPLICE = "splice"  # that nothing else reaches: it must be opened


@dataclass(frozen=True, slots=True)
class Touch:
    """How a lead gets onto a contact.

    contact  what is really touched: the contact itself, or for a splice the nearest contact of its net
    words    the whole sentence, without the contact's name
    short    the same for a line of a screen
    face     the side of the connector that is looked at; None where there is none
    """

    kind: TouchKind
    contact: str
    words: str
    short: str
    face: Face | None = None


class Access:
    """Says how contacts of one harness are touched.

    sockets  connector -> contact -> what the breakout lead that is used there calls its socket, where that is not the
             contact's own name
    """

    def __init__(self, harness: Harness, sockets: Mapping[str, Mapping[str, str]] | None = None) -> None:
        self._harness = harness
        self._sockets = sockets or {}

    def touch(self, contact: str, state: BenchState, other: str = "") -> Touch:
        """How `contact` is touched in a bench state while the other lead is on `other`.

        A contact of a connector that the harness does not have raises KeyError.
        """
        connector = self._harness.connectors[ref_of(contact)]
        wire, at, off = contact.partition("@")
        if at:
            return Touch(
                TouchKind.LUG,
                contact,
                f"clip on the lug of {wire}, lifted off {off}",
                f"clip on the lifted lug of {wire}",
            )
        match connector.family:
            case "stud":
                return Touch(TouchKind.STUD, contact, "probe or clip on the stud", "probe or clip on the stud")
            case "splice":
                return self._splice(contact, state, other)
        pin = pin_of(contact)
        if pin == SHELL:
            return Touch(TouchKind.SHELL, contact, "bare metal of the shell, no paint", "bare metal of the shell")
        if pin == RING:
            words = "probe or clip on the ring terminal that gathers the drains"
            return Touch(TouchKind.RING, contact, words, "on the ring terminal of the drains")
        if not FAMILIES[connector.family].has_gender:
            place = spot_words(connector, pin, Face.MATING) if len(connector.contacts) > 1 else ""
            return Touch(TouchKind.SCREW, contact, _joined("on its screw", place), _joined("on its screw", place))
        return self._in_connector(connector, pin, state)

    def words(self, contact: str, state: BenchState, other: str = "") -> str:
        """The sentence for a contact; empty for what is no contact of this harness."""
        if ref_of(contact) not in self._harness.connectors:
            return ""
        return self.touch(contact, state, other).words

    # --- connectors ---------------------------------------------------------------------------------------------

    def _in_connector(self, connector: Connector, pin: str, state: BenchState) -> Touch:
        ref = connector.ref
        contact = f"{ref}-{pin}"
        if ref in state.breakout:
            socket = self._sockets.get(ref, {}).get(pin, pin)
            words = f"socket {socket} of the breakout lead at {ref}"
            return Touch(TouchKind.BREAKOUT, contact, words, words)
        plugged = _plugged(ref, state)
        if plugged:
            place = location(connector, pin, Face.WIRING)
            words = f"on the back of {ref}, {plugged}, only while its cover is open"
            short = _joined("back of the connector", spot_words(connector, pin, Face.WIRING))
            return Touch(TouchKind.BACK, contact, _joined(words, place), short, Face.WIRING)
        size = connector.size_of(pin)
        sized, brief = (f" of size {size}", f" size {size}") if size else ("", "")
        unsized = "" if size else " (size not in the profile)"
        place = location(connector, pin, Face.MATING)
        spot = spot_words(connector, pin, Face.MATING) if place else ""
        centre = "centre " if connector.family == "coax" else ""
        if connector.gender is Gender.PIN:
            on = f" on the {centre}pin"
            words = f"test clip or test socket{sized}{unsized}{on}"
            short = f"clip or test socket{brief}{on if centre else ''}"
            return Touch(TouchKind.PIN, contact, _faced(words, place), _joined(short, _short_face(spot)), Face.MATING)
        into = " in the centre" if centre else ""
        words = f"matching test pin{sized}{unsized}{into}, never a probe tip in a socket: it spreads it"
        short = f"test pin{brief}{into}, no tip"
        return Touch(TouchKind.SOCKET, contact, _faced(words, place), _joined(short, _short_face(spot)), Face.MATING)

    # --- splices ------------------------------------------------------------------------------------------------

    def _splice(self, splice: str, state: BenchState, other: str) -> Touch:
        """A closed splice is touched at the nearest contact of its net, over another run than the one to the other lead."""
        towards = self._first_runs(splice, other) if other else set()
        ways = [
            self.touch(contact, state)
            for contact, first in self._nearest(splice)
            if first not in towards and contact != other
        ]
        # sorting keeps the nearest first; behind something plugged it is reached worst
        for there in sorted(ways, key=lambda way: way.kind is TouchKind.BACK):
            contact = there.contact
            words = (
                f"{splice} is not reached without opening it: at {contact}, the nearest contact of its net "
                f"(its wire is in the reading), {there.words}"
            )
            return Touch(there.kind, contact, words, f"at {contact} instead: {there.short}", there.face)
        words = f"{splice} must be opened: no other contact of its net is reached without the run that is measured"
        return Touch(TouchKind.SPLICE, splice, words, "the splice must be opened")

    def _nearest(self, splice: str) -> Iterator[tuple[str, int]]:
        """Contacts that are no splice, the nearest along the wire first, each with the first run on the way to it."""
        todo: list[tuple[float, tuple[object, ...], str, int]] = [(0.0, contact_key(splice), splice, -1)]
        done: set[str] = set()
        while todo:
            length_m, _, contact, first = heapq.heappop(todo)
            if contact in done:
                continue
            done.add(contact)
            connector = self._harness.connectors.get(ref_of(contact))
            if connector is not None and connector.family != "splice":
                yield contact, first
                continue  # what lies beyond it is further on
            for number, end, metres in self._runs_at.get(contact, ()):
                if end not in done:
                    way = number if first < 0 else first
                    heapq.heappush(todo, (length_m + metres, contact_key(end), end, way))

    def _first_runs(self, splice: str, other: str) -> set[int]:
        """The runs at the splice over which the other lead's contact is reached."""
        found: set[int] = set()
        for number, end, _ in self._runs_at.get(splice, ()):
            seen, todo = {splice}, [end]
            while todo:
                contact = todo.pop()
                if contact == other:
                    found.add(number)
                    break
                if contact not in seen:
                    seen.add(contact)
                    todo += [further for _, further, _ in self._runs_at.get(contact, ())]
        return found

    @cached_property
    def _runs_at(self) -> dict[str, list[tuple[int, str, float]]]:
        """Contact -> its runs: number, other end, metres."""
        found: dict[str, list[tuple[int, str, float]]] = {}
        for number, run in enumerate(self._harness.wired_runs):
            if run.b:
                metres = run.length_m if run.length_m is not None else _LENGTH_UNKNOWN_M
                found.setdefault(run.a, []).append((number, run.b, metres))
                found.setdefault(run.b, []).append((number, run.a, metres))
        return found


def touch_words(harness: Harness, contact: str, state: BenchState, other: str = "") -> str:
    """How `contact` is touched in a bench state, as a sentence. For many contacts make one Access and ask its `words`."""
    return Access(harness).words(contact, state, other)


def _plugged(ref: str, state: BenchState) -> str:
    """What is on the mating face of a connector, so that it can't be reached; empty where nothing is."""
    if ref in state.on_unit:
        return "plugged into its unit"
    if ref in state.plugs:
        return "with the shorting plug on"
    return "with the coded plug on" if ref in state.coded else ""


def _faced(words: str, place: str) -> str:
    return f"{words}; {place}" if place else f"{words}; mating face"


def _short_face(spot: str) -> str:
    return f"mating face, {spot}" if spot else "mating face"


def _joined(words: str, place: str) -> str:
    return f"{words}; {place}" if place else words
