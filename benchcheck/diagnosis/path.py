"""The way that a current takes: the resistors of least resistance between two contacts."""

from __future__ import annotations

import heapq

from benchcheck.harness.circuit import Circuit, Edge


def path_between(circuit: Circuit, a: str, b: str) -> list[Edge]:
    """Resistors in order from `a` to `b`, the way of least resistance (Dijkstra); empty where there is none."""
    best: dict[str, float] = {a: 0.0}
    came: dict[str, tuple[str, Edge]] = {}
    todo: list[tuple[float, str]] = [(0.0, a)]
    while todo:
        ohm, here = heapq.heappop(todo)
        if here == b:
            break
        if ohm > best[here]:
            continue
        for edge in circuit.edges_at(here):
            there = edge.b if edge.a == here else edge.a
            total = ohm + edge.ohm
            if total < best.get(there, float("inf")):
                best[there] = total
                came[there] = (here, edge)
                heapq.heappush(todo, (total, there))
    way: list[Edge] = []
    while b in came:
        b, edge = came[b]
        way.append(edge)
    return way[::-1]
