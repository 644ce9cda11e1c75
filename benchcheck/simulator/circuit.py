"""Modified nodal analysis in NumPy: resistors and current sources between named nodes.

Own and apart from the solver that predicts readings, so that the one checks the other. Each piece of
the network that hangs together is solved by itself, against a node of its own: so milliohms beside
megohms lose no digits. Between pieces there is nothing but insulation.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Leakage of one contact to the equipment's ground: tens of contacts stay above 500 Mohm (common practice, no source).
LEAK_OHM = 20e9
METER_INPUT_OHM = 10e6


@dataclass(frozen=True, slots=True)
class Source:
    """A current that leaves the circuit at `minus` and enters it at `plus`, in amperes."""

    plus: str
    minus: str
    amps: float


class Network:
    """Nodes and resistors, gathered first and then solved.

    Usage: add nodes and resistors, then ask. Adding after asking is an error.
    """

    def __init__(self, ground: str) -> None:
        self._index: dict[str, int] = {}
        self._ends: list[tuple[int, int]] = []
        self._siemens: list[float] = []
        self._pieces: list[_Piece] | None = None
        self._place: list[tuple[int, int]] = []
        self.ground = ground
        self.add_node(ground)

    def add_node(self, name: str) -> int:
        """The number of node `name`, made if it was not there."""
        return self._index.setdefault(name, len(self._index))

    def add_resistor(self, a: str, b: str, ohm: float) -> None:
        """A resistor of `ohm` (more than 0) between two nodes; both ends on one node does nothing."""
        if self._pieces is not None:
            raise RuntimeError("the network is solved already")
        if ohm <= 0:
            raise ValueError(f"resistor of {ohm} ohm between {a} and {b}")
        one, other = self.add_node(a), self.add_node(b)
        if one != other:
            self._ends.append((one, other))
            self._siemens.append(1.0 / ohm)

    def __contains__(self, name: str) -> bool:
        return name in self._index

    def together(self, a: str, b: str) -> bool:
        """Whether something other than insulation conducts between two nodes."""
        pieces = self._solved()
        del pieces
        return self._place[self._index[a]][0] == self._place[self._index[b]][0]

    def ohms(self, a: str, b: str) -> float:
        """Resistance between two nodes in ohms; through the insulation where nothing else joins them."""
        pieces = self._solved()
        (piece_a, at_a), (piece_b, at_b) = self._place[self._index[a]], self._place[self._index[b]]
        if piece_a == piece_b:
            return pieces[piece_a].ohms(at_a, at_b)
        return self._leak_ohm(piece_a) + self._leak_ohm(piece_b)

    def transfer_ohm(self, from_: tuple[str, str], to: tuple[str, str]) -> float:
        """Volts between the nodes `to` for one ampere driven through the nodes `from_`; 0 across pieces."""
        pieces = self._solved()
        places = [self._place[self._index[name]] for name in (*from_, *to)]
        if len({piece for piece, _ in places}) != 1:
            return 0.0
        z = pieces[places[0][0]].z()
        p, m, r, b = (at for _, at in places)
        return float(z[r, p] - z[r, m] - z[b, p] + z[b, m])

    def potentials(self, sources: Iterable[Source], *, keep: bool = False) -> Mapping[str, float]:
        """Volts of every node against the ground node, for the given sources together.

        keep  work out the inverse on the way, for questions about resistance to come.
        A source whose two nodes do not hang together has no way back and drives nothing.
        """
        pieces = self._solved()
        driven: dict[int, NDArray[np.float64]] = {}
        for source in sources:
            (piece, plus), (other, minus) = (
                self._place[self._index[source.plus]],
                self._place[self._index[source.minus]],
            )
            if piece != other or source.amps == 0:
                continue
            amps = driven.setdefault(piece, np.zeros(pieces[piece].size))
            amps[plus] += source.amps
            amps[minus] -= source.amps
        volts = {number: pieces[number].volts(amps, keep=keep) for number, amps in driven.items()}
        ground_piece, ground_at = self._place[self._index[self.ground]]
        for number, values in volts.items():
            # a piece that touches the ground nowhere lies where its leakage balances
            values -= values[ground_at] if number == ground_piece else values.mean()
        return {
            name: float(volts[piece][at]) if piece in volts else 0.0
            for name, (piece, at) in zip(self._index, self._place, strict=True)
        }

    def meter_share(self, a: str, b: str) -> float:
        """The part of the open-circuit volts that is left with a meter's input across two nodes (0..1)."""
        return METER_INPUT_OHM / (METER_INPUT_OHM + self.ohms(a, b))

    def _leak_ohm(self, piece: int) -> float:
        if piece == self._place[self._index[self.ground]][0]:
            return 0.0
        return LEAK_OHM / self._solved()[piece].size

    def _solved(self) -> list[_Piece]:
        if self._pieces is None:
            self._pieces = self._cut()
        return self._pieces

    def _cut(self) -> list[_Piece]:
        parent = list(range(len(self._index)))

        def find(node: int) -> int:
            while parent[node] != node:
                parent[node] = parent[parent[node]]
                node = parent[node]
            return node

        for one, other in self._ends:
            parent[find(one)] = find(other)
        numbers: dict[int, int] = {}
        sizes: list[int] = []
        for node in range(len(parent)):
            number = numbers.setdefault(find(node), len(numbers))
            if number == len(sizes):
                sizes.append(0)
            self._place.append((number, sizes[number]))
            sizes[number] += 1
        edges: list[list[tuple[int, int, float]]] = [[] for _ in sizes]
        for (one, other), siemens in zip(self._ends, self._siemens, strict=True):
            piece, at = self._place[one]
            edges[piece].append((at, self._place[other][1], siemens))
        return [_Piece(size, piece) for size, piece in zip(sizes, edges, strict=True)]


class _Piece:
    """One part of a network that hangs together: its conductance matrix against its last node."""

    def __init__(self, size: int, edges: list[tuple[int, int, float]]) -> None:
        self.size = size
        self._edges = edges
        self._z: NDArray[np.float64] | None = None

    def _laplacian(self) -> NDArray[np.float64]:
        matrix = np.zeros((self.size, self.size))
        if self._edges:
            ones, others, siemens = (np.array(column) for column in zip(*self._edges, strict=True))
            np.add.at(matrix, (ones, ones), siemens)
            np.add.at(matrix, (others, others), siemens)
            np.add.at(matrix, (ones, others), -siemens)
            np.add.at(matrix, (others, ones), -siemens)
        return matrix

    def z(self) -> NDArray[np.float64]:
        """Impedance matrix, size by size, in ohms; the last row and column are the reference: zero."""
        if self._z is None:
            full = np.zeros((self.size, self.size))
            if self.size > 1:
                full[:-1, :-1] = np.linalg.inv(self._laplacian()[:-1, :-1])
            self._z = full
        return self._z

    def ohms(self, a: int, b: int) -> float:
        if a == b:
            return 0.0
        z = self.z()
        return float(z[a, a] + z[b, b] - z[a, b] - z[b, a])

    def volts(self, amps: NDArray[np.float64], *, keep: bool) -> NDArray[np.float64]:
        if keep or self._z is not None:
            return np.asarray(self.z() @ amps)
        solution = np.zeros(self.size)
        if self.size > 1:
            solution[:-1] = np.linalg.solve(self._laplacian()[:-1, :-1], amps[:-1])
        return solution
