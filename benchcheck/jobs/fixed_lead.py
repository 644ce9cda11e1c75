"""Contact proved, where a profile does not take the operator's word: the lead that stays is read against its own run.

A reading that passes when it is open says nothing of its leads. Where the black lead stays on one contact for a batch of such readings,
the red lead is put on the other end of the black lead's own run before and after: ohms there prove that lead, and the meter. With the
supply on, and black on the feed's ground, its volts at the source prove as much of readings that must find none.
What was read in between counts when both proofs hold; otherwise all of it is due again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchcheck.harness.circuit import circuit_of
from benchcheck.harness.model import Harness
from benchcheck.harness.power import main_feed
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import RING, SHELL, contact_key, pin_of, ref_of
from benchcheck.words.reading import Reading, ReadingState

PROVED = "the fixed lead proved on its own run before and after, the other by a press"
# Above what wire and leads should read, this much more still is contact (common practice, no source).
ALLOWANCE_OHM = 1.0
MOST_OHM, MOST_TRIED = 5.0, 20  # what is joined by more than this is no proof of contact (the same)
MOST_OF_FEED = 0.5  # of a feed's volts: contact, whatever the feed has lost (the same)


@dataclass(slots=True)
class Batch:
    """Readings in `unit` with one lead staying where it is, and what proves it: `expected` at `partner`.

    In ohms that is the far end of its run; in volts, where it stays on the feed's ground, the source of the feed.
    """

    contact: str
    state: BenchState
    unit: str
    partner: str
    expected: float
    steps: dict[str, None] = field(default_factory=dict)

    def doubt(self, proof: Reading) -> str:
        """Why a reading between contact and partner is no proof, in words; empty where it is."""
        is_value, value = proof.state is ReadingState.VALUE, proof.value
        if is_value and self.unit == "ohm" and value - proof.uncertainty <= self.expected + ALLOWANCE_OHM:
            return ""
        if is_value and self.unit == "V" and value >= MOST_OF_FEED * self.expected:
            return ""
        said = str(proof.detail["why"]) if "why" in proof.detail else proof.text
        return f"the lead on {self.contact} is not proved, {said} to {self.partner}"


class FixedLead:
    """The batch that is going on, if any.

    on_lost  is told of steps that were read with a lead that is not proved, each with the reason
    """

    def __init__(self, harness: Harness, on_lost: Callable[[Mapping[str, str]], None]) -> None:
        self._harness = harness
        self._on_lost = on_lost
        self.batch: Batch | None = None

    def new_batch(self, contact: str, state: BenchState, unit: str) -> Batch | None:
        """A batch with a lead on `contact`; None where nothing that would prove it can be touched."""
        if unit == "V":
            feed = main_feed(self._harness)
            if feed is None or feed.ground != contact or not state.supply_on or not _is_reached(feed.source, state):
                return None
            return Batch(contact, state, unit, feed.source, feed.nominal_v)
        ends = {end for run in self._harness.wired_runs if contact in run.ends for end in run.ends}
        circuit = circuit_of(self._harness, state)
        joined = circuit.component(contact)
        # the far end of its own run; where it has none, what a protector or a switch leads to
        for end in (*sorted(ends & joined, key=contact_key), *sorted(joined - ends, key=contact_key)[:MOST_TRIED]):
            if end != contact and _is_reached(end, state) and (ohm := circuit.ohms(end, contact)) <= MOST_OHM:
                return Batch(contact, state, unit, end, ohm)
        return None

    def end(self, why: str = "") -> None:
        """The batch is over; `why` it proves nothing, empty where it was proved once more."""
        batch, self.batch = self.batch, None
        if batch is not None and why and batch.steps:
            self._on_lost(dict.fromkeys(batch.steps, why))


def _is_reached(contact: str, state: BenchState) -> bool:
    if pin_of(contact) in (SHELL, RING):
        return True  # whatever is plugged
    ref = ref_of(contact)
    return ref not in state.plugs | state.coded and (ref not in state.on_unit or ref in state.breakout)
