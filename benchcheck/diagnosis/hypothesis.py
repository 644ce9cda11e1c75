"""A fault as a change of the resistor network, so that what it would do to any reading can be computed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from benchcheck.harness.circuit import Circuit, Edge, moved
from benchcheck.harness.plug import CODE_PERCENT
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.squawk import SquawkKind

OPEN_OHM = 1e6
SHORT_OHM = 0.3


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One fault: its name and place, and what it does to the network.

    remove   resistors that are gone
    add      resistors that should not be there
    where_to contact -> contact for the conductors named in `movers`; parts and the insides of units stay
    says     steps of the power and live stages that it makes fail -> the reasons that they may fail for
    rarity   how common it is, times the usual fault of its kind (see `priors`)
    """

    kind: SquawkKind
    where: tuple[str, ...]
    text: str
    remove: frozenset[str] = frozenset()
    add: tuple[Edge, ...] = ()
    where_to: Mapping[str, str] = field(default_factory=dict)
    movers: frozenset[str] = frozenset()
    rarity: float = 1.0
    says: Mapping[str, frozenset[str]] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, tuple[str, ...], str]:
        """The same for the same story."""
        return (self.kind.value, self.where, self.text)

    def apply(self, circuit: Circuit) -> Circuit:
        """The network with this fault in it."""

        def move(edge: Edge) -> Edge:
            return moved(edge, self.where_to) if edge.name in self.movers else edge

        # a resistor that replaces another keeps its place at a lifted lug
        add = [
            Edge(edge.name, circuit.edges[edge.name].a, circuit.edges[edge.name].b, edge.ohm)
            if edge.name in self.remove and edge.name in circuit.edges
            else edge
            for edge in self.add
        ]
        return circuit.altered(remove=self.remove, add=add, move=move if self.where_to else None)


def apply_all(hypotheses: Iterable[Hypothesis], circuit: Circuit) -> Circuit:
    """The network with all of these faults in it."""
    for hypothesis in hypotheses:
        circuit = hypothesis.apply(circuit)
    return circuit


def fits(predicted_ohm: float, reading: Reading, *, coded: bool = False) -> bool:
    """Whether a reading in ohms is what the network predicts, as far as an ordinary meter can tell.

    coded  it was taken through a coded plug, whose resistors lie closer than the slack that wire and joints are given
    """
    if reading.state is ReadingState.NONE:
        return True  # no reading speaks against nothing
    if reading.state is ReadingState.OVER or reading.value > OPEN_OHM:
        return predicted_ohm > OPEN_OHM
    if math.isinf(predicted_ohm):
        return False
    slack = CODE_PERCENT / 100 * predicted_ohm if coded else 2.0 + 0.1 * max(predicted_ohm, reading.value)
    return abs(predicted_ohm - reading.value) <= slack + reading.uncertainty
