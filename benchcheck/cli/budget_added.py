"""What `benchcheck budget --add` adds to the messages of a bus: one more unit, a message database, or one message."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.words.errors import FileFault, InputError, UsageError

if TYPE_CHECKING:
    from benchcheck.harness.model import Bus, Harness, Message

_FORMS = 'A unit of the profile ("one more of it"), a message database (FILE, or FILE:NODE for one unit of it), or one message as "1A0,8,0.1": hex identifier '
FORMS = _FORMS + "(more than 3 digits: extended), data bytes, period in seconds (empty: on occasion)."
_MESSAGE = re.compile(r"(?:0x)?([0-9A-Fa-f]{1,8})\s*,\s*(\d{1,3})\s*,\s*([0-9.]*)\s*(m?s)?\Z")
_BASE, _EXTENDED = 0x7FF, 0x1FFF_FFFF


def added_messages(words: Sequence[str], harness: Harness, bus_name: str | None) -> dict[str, list[Message]]:
    """Bus name -> messages that `words` add to it. Raises UsageError or InputError for what can't be."""
    buses = {bus.name: bus for bus in harness.buses}
    if bus_name is not None and bus_name not in buses:
        raise UsageError(f"the profile has no bus {bus_name!r}", hint=f"Buses: {', '.join(buses)}.")
    found: dict[str, list[Message]] = {name: [] for name in buses}
    for word in words:
        for name, messages in _of(word.strip(), harness, bus_name).items():
            for message in messages:
                taken = [*buses[name].messages, *found[name]]
                if any(_key(message) == _key(other) for other in taken):
                    text = f"identifier {_hex(message)} is sent on {name} already"
                    raise UsageError(text, hint="Two senders of one identifier collide: give it another one.")
                found[name].append(message)
    return found


def _of(word: str, harness: Harness, bus_name: str | None) -> dict[str, list[Message]]:
    if match := _MESSAGE.fullmatch(word):
        return {_the_bus(harness, bus_name).name: [_one(word, match)]}
    refs = [u.ref for u in harness.units.values() if word in (u.ref, u.node)]
    refs = refs or [u.ref for u in harness.units.values() if word == u.type.name][:1]
    if refs:
        return _one_more(refs[0], harness, bus_name)
    path, node = _file_and_node(word)
    if path.is_file():
        if path.suffix.lower() == ".toml":
            raise UsageError(
                f"{path.name} says how a unit is wired, not what it sends",
                where="--add",
                hint="Give the unit's message database, or FILE:NODE for one unit of a larger one.",
            )
        return {_the_bus(harness, bus_name).name: _of_database(path, node)}
    raise UsageError(f"can't tell what {word!r} adds", where="--add", hint=FORMS)


def _the_bus(harness: Harness, bus_name: str | None) -> Bus:
    chosen = [bus for bus in harness.buses if bus_name in (None, bus.name)]
    if len(chosen) != 1:
        names = ", ".join(bus.name for bus in harness.buses)
        raise UsageError("which bus is it added to?", where="--add", hint=f"Give --bus, one of {names or 'none'}.")
    return chosen[0]


def _one(word: str, match: re.Match[str]) -> Message:
    from benchcheck.harness.model import Message

    digits, length, period, unit = match.groups()
    can_id, extended = int(digits, 16), len(digits) > 3
    try:
        period_s = float(period) * (1e-3 if unit == "ms" else 1.0) if period else None
    except ValueError:
        period_s = 0.0
    if can_id > (_EXTENDED if extended else _BASE) or int(length) > 64:
        raise UsageError(f"no frame has the identifier and length of {word!r}", where="--add", hint=FORMS)
    if period_s is not None and not 1e-5 <= period_s <= 86_400:
        raise UsageError(f"no message has the period of {word!r}", where="--add", hint="From 0.00001 s to a day.")
    return Message(can_id, extended, "", "", period_s, int(length))


def _one_more(ref: str, harness: Harness, bus_name: str | None) -> dict[str, list[Message]]:
    """What unit `ref` sends, once more, each message at the next free identifier."""
    from dataclasses import replace

    found: dict[str, list[Message]] = {}
    for bus in harness.buses:
        if bus_name not in (None, bus.name):
            continue
        taken = {_key(message) for message in bus.messages}
        for message in bus.messages:
            if message.sender != ref:
                continue
            free = _free(message, taken)
            taken.add(_key(free))
            found.setdefault(bus.name, []).append(replace(free, name=f"{message.name} 2", sender=f"{ref} 2"))
    if not found:
        raise UsageError(f"the profile knows no message of {ref}", where="--add", hint=FORMS)
    return found


def _free(message: Message, taken: set[tuple[int, bool]]) -> Message:
    from dataclasses import replace

    most = _EXTENDED if message.extended else _BASE
    for can_id in chain(range(message.can_id + 1, most + 1), range(message.can_id - 1, -1, -1)):
        if (can_id, message.extended) not in taken:
            return replace(message, can_id=can_id)
    raise UsageError("there is no free identifier left", where="--add")


def _file_and_node(word: str) -> tuple[Path, str]:
    """`unit.dbc:WIND` is the messages of one node of a database."""
    name, _, node = word.rpartition(":")
    if name and not Path(word).is_file() and Path(name).is_file():
        return Path(name), node
    return Path(word), ""


def _of_database(path: Path, node: str = "") -> list[Message]:
    """The messages of a database, or those of one node of it."""
    from benchcheck.harness.model import Message
    from benchcheck.profile.database import load_database

    loaded = load_database(path.name, path)
    if isinstance(loaded, FileFault):
        raise InputError(loaded.text, where=str(loaded.place), hint=loaded.hint)
    nodes = list(dict.fromkeys(name for message in loaded.messages for name in message.senders))
    if node and node not in nodes:
        from benchcheck.harness.reading.hints import did_you_mean

        hint = did_you_mean(node, nodes, what="Nodes")
        raise UsageError(f"{path.name} has no message that {node!r} sends", where="--add", hint=hint)
    return [
        Message(m.can_id, m.extended, m.name, node or " ".join(m.senders[:1]), m.period_s, m.length)
        for m in loaded.messages
        if not node or node in m.senders
    ]


def _key(message: Message) -> tuple[int, bool]:
    return message.can_id, message.extended


def _hex(message: Message) -> str:
    return f"{message.can_id:08X}" if message.extended else f"{message.can_id:03X}"
