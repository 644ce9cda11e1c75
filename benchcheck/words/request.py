"""What a check asks the bench for. A check yields requests and is sent readings; it never touches hardware."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.words.bench_state import BenchState
from benchcheck.words.step import Quantity


@dataclass(frozen=True, slots=True)
class Request:
    """One reading that is wanted, in one bench state.

    red, black     contacts for the leads (ohms, volts), or the tapped contact and ground (line)
    load_at        contact and ground between which `load_a` amperes are drawn while reading
    source         bus name (can) or link name (line)
    bridge         two contacts to join while bytes are sent round (loop), None: none
    sender         unit whose talk is listened for (line)
    four_wire      ohms with four wires, where the meter has them
    """

    quantity: Quantity
    state: BenchState
    red: str = ""
    black: str = ""
    load_a: float = 0.0
    load_at: tuple[str, str] | None = None
    source: str = ""
    sender: str = ""
    four_wire: bool = False
    bridge: tuple[str, str] | None = None
