"""A switch matrix: puts the meter's red and black rail on contacts of the harness, through the SCPI route subsystem.

What was closed is read back; a channel that does not obey is an error in words, never a reading of something else. All channels are
open when it is closed. (ROUTe:CLOSe, ROUTe:OPEN and ROUTe:CLOSe? with a channel list are SCPI-1999; from memory.)
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Mapping, Sequence

from benchcheck.bench.instruments.scpi import Instrument, NoAnswerError
from benchcheck.bench.instruments.scpi_words import parse_switch
from benchcheck.words.errors import LinkLost, SetupError

_MOST = 40  # channels in one list: some instruments take no longer lines


class Matrix:
    """red, black: contact of the harness -> the channel that puts that rail on it, `101` or `1!1!1`."""

    def __init__(self, instrument: Instrument, red: Mapping[str, str], black: Mapping[str, str]) -> None:
        self._instrument = instrument
        self.red = dict(red)
        self.black = dict(black)
        self._closed: frozenset[str] = frozenset()
        self._known = False  # whether that is how it stands

    @property
    def identity(self) -> str:
        return self._instrument.identity

    def join(self, red: Iterable[str], black: Iterable[str]) -> tuple[str, ...]:
        """Both rails on these contacts, and on no others; the channels, read back as closed.

        KeyError for a contact without a channel; SetupError for a channel that does not obey, with all of them open.
        """
        wanted = frozenset(self.red[contact] for contact in red) | frozenset(self.black[contact] for contact in black)
        try:
            if not self._known:
                self.open_all()
            # never both at once: two contacts on one rail would be joined through it
            self._say("ROUT:OPEN", self._closed - wanted)
            self._say("ROUT:CLOS", wanted - self._closed)
            self._check(wanted)
        except SetupError:
            self._known = False
            with contextlib.suppress(SetupError):
                self.open_all()
            raise
        self._closed = wanted
        return tuple(sorted(wanted))

    def open_all(self) -> None:
        """Every channel that has a contact is open, read back. SetupError where one is not."""
        channels = frozenset(self.red.values()) | frozenset(self.black.values())
        self._say("ROUT:OPEN", channels)
        for part in _parts(channels):
            if any(self._states(part)):
                raise SetupError("has channels that stay closed", where=self._instrument.where)
        self._closed, self._known = frozenset(), True

    def close(self) -> None:
        """Open every channel, then the port is closed; where it is gone already, quietly."""
        try:
            if self._closed or not self._known:
                self.open_all()
        except LinkLost:
            pass
        finally:
            self._instrument.close()

    def _check(self, wanted: frozenset[str]) -> None:
        for part in _parts(wanted):
            for channel, closed in zip(part, self._states(part), strict=True):
                if not closed:
                    raise SetupError(f"channel {channel} does not close", where=self._instrument.where)
        opened = self._closed - wanted
        for part in _parts(opened):
            for channel, closed in zip(part, self._states(part), strict=True):
                if closed:
                    raise SetupError(f"channel {channel} does not open", where=self._instrument.where)

    def _states(self, channels: Sequence[str]) -> list[bool]:
        answer = self._ask(f"ROUT:CLOS? {_list(channels)}")
        states = [parse_switch(part) for part in answer.split(",")]
        if len(states) != len(channels) or None in states:
            raise SetupError(
                f"says '{answer[:60]}' when asked for {len(channels)} channels", where=self._instrument.where
            )
        return [bool(state) for state in states]

    def _ask(self, query: str) -> str:
        try:
            return self._instrument.query(query)
        except NoAnswerError as silent:
            raise SetupError(
                f"does not say which channels are closed ({silent})", where=self._instrument.where
            ) from None

    def _say(self, command: str, channels: frozenset[str]) -> None:
        for part in _parts(channels):
            line = f"{command} {_list(part)}"
            try:
                self._instrument.write(line)
                refused = self._instrument.errors()
            except NoAnswerError as silent:
                raise SetupError(f"does not answer to {line[:60]} ({silent})", where=self._instrument.where) from None
            if refused:
                why = "; ".join(f"{entry.code} {entry.text}" for entry in refused[:3])
                raise SetupError(
                    f"refused {line[:60]}: {why}",
                    where=self._instrument.where,
                    hint="Are the channels of [matrix] in bench.toml those of this matrix?",
                )


def _parts(channels: Iterable[str]) -> Iterable[Sequence[str]]:
    rising = sorted(channels)
    return [rising[start : start + _MOST] for start in range(0, len(rising), _MOST)]


def _list(channels: Sequence[str]) -> str:
    return f"(@{','.join(channels)})"
