"""The readings of a bench against the network with faults in it: what each fault touches, predicts and makes of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from benchcheck.checks.kind import Context
from benchcheck.diagnosis.hypothesis import Hypothesis, apply_all
from benchcheck.diagnosis.likelihood import VERDICT_EXPLAINED, floor, log_likelihood, verdict_likelihood
from benchcheck.diagnosis.priors import SINCE_THEN
from benchcheck.harness.circuit import Circuit, Edge
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.contact import lifted
from benchcheck.words.reading import ReadingState
from benchcheck.words.result import Result
from benchcheck.words.step import Quantity
from benchcheck.words.verdict import Outcome

Key = tuple[str, tuple[str, ...], str]
Piece = frozenset[str]
# A reading is explained where it is that much likelier than by accident (natural logarithm).
EXPLAINED = 4.0


@dataclass(frozen=True)
class Local:
    """The part of a network that faults touch, with the faults in it; elsewhere it is as planned."""

    planned: Circuit
    changed: Circuit
    contacts: frozenset[str]

    def ohms(self, a: str, b: str) -> float:
        return self.changed.ohms(a, b) if a in self.contacts or b in self.contacts else self.planned.ohms(a, b)


class Readings:
    """All ohms that were read, and what any set of faults makes of them. Predictions and likelihoods are kept."""

    def __init__(self, context: Context, results: Sequence[Result]) -> None:
        self.context = context
        self.results: list[Result] = []
        self._open = context.circuit(ALL_OPEN)
        self._gains: dict[frozenset[Key], float] = {}
        self._units_in: list[int] = []
        self._by_piece: dict[Piece, list[int]] = {}
        self._places: dict[Key, frozenset[str]] = {}
        self._pieces: dict[Key, frozenset[Piece]] = {}
        self._local: dict[tuple[frozenset[Key], BenchState], Local] = {}
        self._planned: dict[int, float] = {}
        self._likely: dict[tuple[frozenset[Key], int], float] = {}
        self.last_probe: Result | None = None
        self._taken: set[tuple[frozenset[str], BenchState]] = set()
        self.zones = {ref: connector.zone for ref, connector in context.harness.connectors.items()}
        self.add(results)

    def add(self, results: Iterable[Result]) -> None:
        """Take in readings in ohms, and verdicts on others; those that are none are passed over."""
        self._gains.clear()
        for result in results:
            if result.step.quantity is not Quantity.OHMS:
                self._add_verdict(result)
                continue
            fine = bool(result.step.settings.get("four_wire"))  # its milliohms are below what a story is told by
            if result.step.quantity is Quantity.OHMS and result.reading.state is not ReadingState.NONE and not fine:
                units_in = bool(result.step.state.on_unit)
                numbers = self._units_in if units_in else self._by_piece.setdefault(self.piece_of(result.step.red), [])
                numbers.append(len(self.results))
                self._taken.add(_way(result.step.red, result.step.black, result.step.state))
                self.results.append(result)

    def _add_verdict(self, result: Result) -> None:
        if result.outcome in (Outcome.PASS, Outcome.FAIL):
            self._by_piece.setdefault(_step_piece(result.step.id), []).append(len(self.results))
            self.results.append(result)

    @property
    def verdicts(self) -> list[Result]:
        """What is known of steps that are no readings in ohms."""
        return [result for result in self.results if result.step.quantity is not Quantity.OHMS]

    def take(self, result: Result) -> None:
        """Take in a probe beside the plan: its leads are where they are now, and it isn't asked for again."""
        if result.step.quantity is Quantity.OHMS:
            self.last_probe = result
        self._taken.add(_way(result.step.red, result.step.black, result.step.state))
        self.add([result])

    def was_taken(self, a: str, b: str, state: BenchState) -> bool:
        """Whether a probe was taken already, or could not be."""
        return _way(a, b, state) in self._taken

    def piece_of(self, contact: str) -> Piece:
        """Every contact that conducts to this one as planned, everything in; of a lifted lug, those of where it belongs."""
        return self._open.component(contact.rpartition("@")[2])

    def piece_read(self, number: int) -> Piece:
        """The piece that a reading is of: at its red lead, or what stands for a step that is no reading in ohms."""
        step = self.results[number].step
        return self.piece_of(step.red) if step.quantity is Quantity.OHMS else _step_piece(step.id)

    def places(self, fault: Hypothesis) -> frozenset[str]:
        """The contacts at which a fault changes the network."""
        if fault.key not in self._places:
            edges = self._open.edges
            found = {end for edge in fault.add for end in (edge.a, edge.b)} | set(fault.where_to.values())
            for name in fault.remove | fault.movers:
                if name in edges:
                    for end in (edges[name].a, edges[name].b):
                        found |= {end, lifted(name, end)}
            self._places[fault.key] = frozenset(found)
        return self._places[fault.key]

    def pieces(self, fault: Hypothesis) -> frozenset[Piece]:
        """The planned pieces that a fault touches."""
        if fault.key not in self._pieces:
            said = map(_step_piece, fault.says)
            self._pieces[fault.key] = frozenset((*map(self.piece_of, self.places(fault)), *said))
        return self._pieces[fault.key]

    def groups(self, faults: Iterable[Hypothesis]) -> list[list[Hypothesis]]:
        """Faults that touch one piece of the network together: what one predicts hangs on the other."""
        found: list[tuple[set[Piece], list[Hypothesis]]] = []
        for fault in faults:
            pieces, members = set(self.pieces(fault)), [fault]
            apart = []
            for other in found:
                if pieces.isdisjoint(other[0]):
                    apart.append(other)
                else:
                    pieces |= other[0]
                    members = [*other[1], *members]
            found = [*apart, (pieces, members)]
        return [members for _, members in found]

    def predicted(self, faults: Sequence[Hypothesis], state: BenchState, red: str, black: str) -> float:
        """Ohms between two contacts in a bench state, with these faults."""
        return self._network(faults, state).ohms(red, black) if faults else self.planned(state).ohms(red, black)

    def planned(self, state: BenchState) -> Circuit:
        return self.context.circuit(state)

    def _network(self, faults: Sequence[Hypothesis], state: BenchState) -> Local:
        key = (frozenset(fault.key for fault in faults), state)
        if key not in self._local:
            planned = self.planned(state)
            contacts: set[str] = set()
            for fault in faults:
                for place in self.places(fault):
                    if place not in contacts:
                        contacts |= planned.component(place)
            edges: dict[str, Edge] = {edge.name: edge for contact in contacts for edge in planned.edges_at(contact)}
            self._local[key] = Local(planned, apply_all(faults, Circuit(edges.values())), frozenset(contacts))
        return self._local[key]

    # --- likelihoods ------------------------------------------------------------------------------------------

    def as_planned(self, number: int) -> float:
        """The logarithm of how likely a reading is in a sound harness."""
        if number not in self._planned:
            step = self.results[number].step
            if step.quantity is not Quantity.OHMS:
                return self._verdict_weighed(number, None)
            self._planned[number] = self._weigh(number, self.planned(step.state).ohms(step.red, step.black))
        return self._planned[number]

    def likely(self, faults: Sequence[Hypothesis], number: int) -> float:
        """The logarithm of how likely a reading is with these faults."""
        step = self.results[number].step
        if step.quantity is not Quantity.OHMS:
            said = [fault.says[step.id] for fault in faults if step.id in fault.says]
            return self._verdict_weighed(number, frozenset().union(*said) if said else None)
        piece = self.piece_of(step.red)
        # units that are in join pieces that are apart on an open bench
        near = [fault for fault in faults if step.state.on_unit or piece in self.pieces(fault)]
        if not near:
            return self.as_planned(number)
        group = near
        if len(faults) > 1 and not step.state.on_unit:
            group = next(group for group in self.groups(faults) if near[0] in group)
        key = (frozenset(fault.key for fault in group), number)
        if key not in self._likely:
            self._likely[key] = self._weigh(number, self.predicted(group, step.state, step.red, step.black))
        return self._likely[key]

    def _weigh(self, number: int, predicted_ohm: float) -> float:
        result = self.results[number]
        return log_likelihood(predicted_ohm, result.reading, coded=bool(result.step.state.coded))

    def _verdict_weighed(self, number: int, reasons: frozenset[str] | None) -> float:
        """How likely a verdict is where it should fail for one of these reasons, or pass where there is none."""
        result = self.results[number]
        return verdict_likelihood(result.outcome is Outcome.FAIL, result.verdict.reason, reasons)

    def explained(self, faults: Sequence[Hypothesis], number: int) -> bool:
        """Whether a reading is what these faults predict, as well as it can be."""
        result = self.results[number]
        if result.step.quantity is not Quantity.OHMS:
            return self.likely(faults, number) > VERDICT_EXPLAINED
        return self.likely(faults, number) > floor(result.reading) + EXPLAINED

    def reach(self, group: Sequence[Hypothesis]) -> list[int]:
        """The readings that these faults can change."""
        pieces = {piece for fault in group for piece in self.pieces(fault)}
        return [*self._units_in, *(number for piece in pieces for number in self._by_piece.get(piece, ()))]

    def gain(self, faults: Sequence[Hypothesis]) -> float:
        """How much likelier all readings are with these faults than without any (natural logarithm)."""
        return sum(self._group_gain(group) for group in self.groups(faults))

    def _group_gain(self, group: Sequence[Hypothesis]) -> float:
        key = frozenset(fault.key for fault in group)
        if key not in self._gains:
            self._gains[key] = self._summed(group)
        return self._gains[key]

    def _summed(self, group: Sequence[Hypothesis]) -> float:
        verdicts, ohms = 0.0, 0.0
        for number in self.reach(group):
            more = self.likely(group, number) - self.as_planned(number)
            if self.results[number].step.quantity is Quantity.OHMS:
                ohms += more
            else:
                verdicts += more
        if any(fault.says for fault in group):
            ohms = max(ohms, -SINCE_THEN)  # a fault that shows under power may have come after the dead stage
        return verdicts + ohms

    def is_probe(self, number: int) -> bool:
        """Whether a reading is of a probe beside the plan, which has no limit of its own."""
        return self.results[number].verdict.reason == PROBED

    def odd(self) -> list[int]:
        """The readings that ask for a story: steps that failed, and probes beside the plan that read otherwise than planned."""
        return [
            number
            for number, result in enumerate(self.results)
            if result.outcome is Outcome.FAIL or (result.verdict.reason == PROBED and not self.explained((), number))
        ]


def _step_piece(name: str) -> Piece:
    """What stands for the piece of a step that is no reading in ohms."""
    return frozenset({f"step {name}"})


def _way(a: str, b: str, state: BenchState) -> tuple[frozenset[str], BenchState]:
    return frozenset((a, b)), state


# The reason of a probe beside the plan, which has no limit of its own.
PROBED = "probed"
