"""Reading through breakout leads: which one goes where today, what it adds to an ohms reading, and what the record says."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

from benchcheck.bench.breakout_lead import NOT_LISTED, BreakoutLead, Chosen, choose, taken_off
from benchcheck.harness.model import Harness
from benchcheck.words.bench_state import BenchState
from benchcheck.words.contact import pin_of, ref_of
from benchcheck.words.reading import Reading, ReadingState


def day_of(wall_ns: int) -> date:
    """The day of a wall time in nanoseconds, in UTC."""
    return datetime.fromtimestamp(wall_ns // 1_000_000_000, UTC).date()


class Breakouts:
    """The breakout leads of a bench.

    leads    those that bench.toml lists; where it lists none, a person takes whatever there is
    wall_ns  the wall clock: a self-check is good for days
    """

    def __init__(self, harness: Harness, leads: Sequence[BreakoutLead], wall_ns: Callable[[], int]) -> None:
        self._harness = harness
        self._leads = tuple(leads)
        self._wall_ns = wall_ns

    @property
    def today(self) -> date:
        return day_of(self._wall_ns())

    def at(self, state: BenchState) -> Mapping[str, BreakoutLead]:
        """Connector -> the lead to use there in a bench state; nothing where none is listed or none is good."""
        return self._chosen(state).leads

    def refused(self, state: BenchState) -> str:
        """Why nothing is read in a bench state, and what to do; empty where its breakout leads are good or not listed."""
        return ". ".join(self._chosen(state).refusals)

    def seen_through(self, reading: Reading, state: BenchState, touched: Sequence[str], *, ohms: bool) -> Reading:
        """A reading without the ways of the leads it was read through, with a note of them for the record.

        touched  the contacts that the leads were on; ohms: whether resistance was read
        """
        if reading.state is ReadingState.NONE or not state.breakout:
            return reading
        leads = self.at(state)
        if ohms:
            ways = [ref_of(contact) for contact in touched if self._is_a_way(contact)]
            reading = taken_off(reading, [leads[ref] for ref in ways if ref in leads])
        said = {ref: str(leads[ref]) if ref in leads else NOT_LISTED for ref in sorted(state.breakout)}
        return replace(reading, detail={**reading.detail, "breakout": said})

    def _is_a_way(self, contact: str) -> bool:
        """Whether a breakout lead has a way for it: it has none for shells, rings and lifted lugs."""
        connector = self._harness.connectors.get(ref_of(contact))
        return connector is not None and "@" not in contact and pin_of(contact) in connector.contacts

    def _chosen(self, state: BenchState) -> Chosen:
        if not self._leads or not state.breakout:
            return Chosen({})
        connectors = self._harness.connectors
        return choose(self._leads, (connectors[ref] for ref in state.breakout if ref in connectors), self.today)
