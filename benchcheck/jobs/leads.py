"""The leads' zero of a session: measured before the first ohms, again after some hours or on request, and taken off."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from benchcheck.bench.instruments.meter import Meter
from benchcheck.jobs.asked import SkipAsked
from benchcheck.jobs.operator import Operator
from benchcheck.words.errors import LinkLost, SetupError
from benchcheck.words.lead_zero import READINGS, VALID_HOURS, LeadZero, assumed_zero, own_rel, without_leads, zero_of
from benchcheck.words.reading import Reading, ReadingState


class Leads:
    """Holds the zero of the leads that are in use.

    contact     one contact of the harness on which the hands of a simulated bench bring both leads together
    now_ns      the monotonic clock
    on_zeroed   is told of every zero, with the meter's identity
    hours       for so long a zero is good
    """

    def __init__(
        self,
        operator: Operator,
        contact: str,
        now_ns: Callable[[], int],
        on_zeroed: Callable[[LeadZero, str], None],
        hours: float = VALID_HOURS,
    ) -> None:
        self._operator = operator
        self._contact = contact
        self._now_ns = now_ns
        self._on_zeroed = on_zeroed
        self._hours = hours
        self.zero: LeadZero | None = None
        self._taken_ns = 0

    @property
    def due(self) -> bool:
        """Whether the leads must be measured before the next two-wire ohms."""
        return self.zero is None or self._now_ns() - self._taken_ns > self._hours * 3600e9

    def forget(self) -> None:
        """The next two-wire ohms begin with the leads."""
        self.zero = None

    def measure(self, meter: Meter) -> Reading | None:
        """Measure the leads where that is due. None, or the reading of NONE that says why there is no zero.

        A person who is there is asked again until there is one, or says `skip REASON`: then the usual figure is taken off, and its
        doubt is in every reading. Raises what a person may say instead of an answer, and LinkLost.
        """
        if not self.due:
            return None
        why = ""
        while True:
            try:
                found = self._read(meter, why)
            except SkipAsked as skipped:
                found = assumed_zero(meter.spec, skipped.reason)
            if isinstance(found, LeadZero):
                self.zero, self._taken_ns = found, self._now_ns()
                self._on_zeroed(found, meter.identity)
                return None
            if self._operator.unattended:
                return Reading.none(f"the leads are not measured: {found}", "ohm")
            why = found

    def take_off(self, raw: Reading, meter: Meter) -> Reading:
        """A two-wire reading without the leads."""
        return raw if self.zero is None else without_leads(raw, self.zero, meter.spec)

    def _read(self, meter: Meter, why: str) -> LeadZero | str:
        typed = getattr(
            meter, "leads", None
        )  # a meter whose readings a person types: one line, None for its own relative mode
        if typed is not None:
            shown: Sequence[Reading] | None = typed(why)
            return own_rel(meter.spec) if shown is None else zero_of(shown, meter.spec)
        if read_back := getattr(meter, "read_back", None):
            try:
                read_back()  # its own null may have been switched on at its front panel
            except LinkLost:
                raise
            except SetupError as stays_on:
                return stays_on.text
        self._operator.leads_together(self._contact, why)
        readings: list[Reading] = []
        for _ in range(READINGS):
            readings.append(self._operator.take(meter.ohms, "ohm", lifted_passes=False))
            if readings[-1].state is not ReadingState.VALUE:
                break  # an instrument that does not answer is asked once, not five times
        self._operator.leads_read()
        return zero_of(readings, meter.spec)
