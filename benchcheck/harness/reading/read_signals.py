"""What harness.toml expects of signals, with bus, message and signal looked up in the message databases."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchcheck.harness.model import Bus, SignalRange
from benchcheck.harness.reading.forms import BusForm, SignalForm
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.harness.reading.read_tables import Tables
from benchcheck.harness.reading.toml_text import Path


def read_signals(
    tables: Tables,
    forms: Sequence[tuple[Path, SignalForm]],
    buses: Sequence[Bus],
    bus_forms: Mapping[str, BusForm],
) -> tuple[SignalRange, ...]:
    """The expectations that can be followed; a fault for each of the others, and for one that expects nothing."""
    by_name = {bus.name: bus for bus in buses}
    seen: set[tuple[str, str, str]] = set()
    found = []
    for path, form in forms:
        _check_limits(tables, path, form)
        key = (form.bus, form.message, form.signal)
        if key in seen:
            text = f"signal {shown(form.signal)} of {shown(form.message)} is there twice"
            tables.fault((*path, "signal"), text, "Write all its limits into one table.")
            continue
        seen.add(key)
        if form.bus not in by_name:
            text = f"bus: {shown(form.bus)} is not in harness.toml"
            tables.fault((*path, "bus"), text, did_you_mean(form.bus, by_name, what="Buses"))
            continue
        one = _look_up(tables, path, form, by_name[form.bus], bus_forms[form.bus].network)
        if one is not None:
            found.append(one)
    return tuple(found)


def _check_limits(tables: Tables, path: Path, form: SignalForm) -> None:
    if form.low is None and form.high is None and form.stuck_s is None:
        hint = "Give low, high or stuck_s: the least, the greatest value, seconds without a change."
        tables.fault(path, f"nothing is expected of signal {shown(form.signal)}", hint)
    if form.low is not None and form.high is not None and form.low > form.high:
        tables.fault((*path, "low"), f"low: {form.low:g} is above high, {form.high:g}", "Exchange them.")


def _look_up(tables: Tables, path: Path, form: SignalForm, bus: Bus, network: str | None) -> SignalRange | None:
    if network is None:
        hint = 'Name one in its table: network = "launch.dbc".'
        tables.fault((*path, "bus"), f"bus: {shown(form.bus)} has no message database to know signals by", hint)
        return None
    if not bus.messages:
        return None  # the database can't be read, or is empty: said there
    message = next((entry for entry in bus.messages if entry.name == form.message), None)
    if message is None:
        hint = did_you_mean(form.message, [entry.name for entry in bus.messages], what="Messages")
        tables.fault((*path, "message"), f"message: {shown(form.message)} is not in {network}", hint)
        return None
    signal = next((entry for entry in message.signals if entry.name == form.signal), None)
    if signal is None:
        hint = did_you_mean(form.signal, [entry.name for entry in message.signals], what="Signals")
        text = f"signal: {shown(form.signal)} is not in message {shown(form.message)} of {network}"
        tables.fault((*path, "signal"), text, hint)
        return None
    return SignalRange(
        bus=bus.name,
        message=message,
        signal=signal,
        low=form.low,
        high=form.high,
        stuck_s=form.stuck_s,
        place=tables.doc.place((*path, "signal")),
    )
