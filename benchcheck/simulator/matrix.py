"""The simulated switch matrix: two rails, red and black, and for each contact a channel to either."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from benchcheck.simulator.instruments import Meter
from benchcheck.simulator.model import BenchModel
from benchcheck.simulator.names import all_contacts
from benchcheck.simulator.scpi import ScpiError, ScpiInstrument
from benchcheck.words.contact import contact_key
from benchcheck.words.errors import InputError

MATRIX_IDENTITY = "BENCHCHECK-SIM,MATRIX,0003,1.0"
RED, BLACK = "1", "2"  # the first figure of a channel; the contact's number follows


class Matrix(ScpiInstrument):
    """Closing channels puts the meter's leads on contacts, and joins contacts that hang on the same rail.

    stuck   channels that don't obey any more
    """

    def __init__(self, model: BenchModel, meter: Meter, clock: Callable[[], float]) -> None:
        super().__init__(
            MATRIX_IDENTITY,
            {
                "ROUT:CLOS": lambda channels: self._set(channels, closed=True),
                "ROUT:OPEN": lambda channels: self._set(channels, closed=False),
                "ROUT:OPEN:ALL": lambda _: self._set(sorted(self._contacts), closed=False),
                "ROUT:CLOS?": self._states,
            },
            lambda: self._set(sorted(self._contacts), closed=False),
        )
        self._model, self._meter, self._clock = model, meter, clock
        contacts = sorted(all_contacts(model.harness), key=contact_key)
        self.red = {contact: f"{RED}{number:03d}" for number, contact in enumerate(contacts, 1)}
        self.black = {contact: f"{BLACK}{number:03d}" for number, contact in enumerate(contacts, 1)}
        self._contacts = {channel: contact for rail in (self.red, self.black) for contact, channel in rail.items()}
        self.stuck: set[str] = set()
        self.closed: set[str] = set()

    def _set(self, given: list[str], *, closed: bool) -> None:
        channels = self._channels(given)
        for channel in channels:
            if channel not in self.stuck:
                (self.closed.add if closed else self.closed.discard)(channel)
        self._touch()

    def _states(self, given: list[str]) -> str:
        return ",".join(str(int(channel in self.closed)) for channel in self._channels(given))

    def _channels(self, given: list[str]) -> list[str]:
        """The channels of `(@101,102)`, which came split at its commas."""
        names = [part.strip().removeprefix("(@").removesuffix(")").strip() for part in given]
        if not names or any(name not in self._contacts for name in names):
            raise ScpiError(-222)
        return names

    def _touch(self) -> None:
        """Where the leads are now. What hangs on one rail beside its first contact is joined to it: to chassis, here."""
        rails = {rail: [c for channel, c in self._contacts.items() if channel in self.closed and channel[0] == rail]
                 for rail in (RED, BLACK)}  # fmt: skip
        red, black, chassis = rails[RED], rails[BLACK], self._model.harness.chassis
        joined = next((frozenset(rail) for rail in (black, red) if len(rail) > 1 and chassis in rail), frozenset())
        try:
            self._model.set_state(replace(self._model.state, links=joined - {chassis}), self._clock())
        except InputError:
            raise ScpiError(-221) from None
        ends = [chassis if joined and chassis in rail else rail[0] for rail in (red, black) if rail]
        fits = all(len(rail) == 1 or frozenset(rail) == joined for rail in (red, black))
        self._meter.probes = (ends[0], ends[1]) if len(ends) == 2 and fits else None
