"""What a person does at a real bench: touches contacts, plugs, lifts, pulls, loads. One answer line a request."""

from __future__ import annotations

import json
from collections.abc import Callable

from benchcheck.simulator.instruments import Meter
from benchcheck.simulator.model import BenchModel
from benchcheck.words.bench_state import BenchState
from benchcheck.words.errors import InputError

LINE_LENGTH = 1 << 16
_SETS = ("on_unit", "breakout", "lifted", "opened", "plugs", "links", "coded")


class Hands:
    """Feed it bytes; every line is answered by `ok` or `error TEXT`."""

    def __init__(
        self,
        model: BenchModel,
        meter: Meter,
        tap_names: tuple[str, ...],
        clock: Callable[[], float],
        on_tap: Callable[[str], None],
    ) -> None:
        self._model = model
        self._meter = meter
        self._tap_names = tap_names
        self._clock = clock
        self._on_tap = on_tap
        self._buffer = bytearray()

    def feed(self, data: bytes) -> bytes:
        """The answers to the whole lines in what has come so far."""
        self._buffer += data
        answers = bytearray()
        while (end := self._buffer.find(b"\n")) >= 0:
            line = self._buffer[:end].decode("utf-8", "replace").strip()
            del self._buffer[: end + 1]
            if line:
                answers += self._answer(line).encode("ascii", "replace") + b"\n"
        if len(self._buffer) > LINE_LENGTH:
            self._buffer.clear()
            answers += b"error line too long\n"
        return bytes(answers)

    def _answer(self, line: str) -> str:
        try:
            self._do(line)
        except InputError as error:
            text = f"{error.text}. {error.hint}" if error.hint else error.text
            return "error " + " ".join(text.split())
        return "ok"

    def _do(self, line: str) -> None:
        verb, _, rest = line.partition(" ")
        words = rest.split()
        if verb == "probes" and len(words) == 2:
            red, black = words
            self._model.check_reach(red)
            self._model.check_reach(black)
            self._meter.probes = (red, black)
        elif verb == "state" and rest:
            self._model.set_state(parse_state(rest), self._clock())
        elif verb == "load" and words == ["off"]:
            self._model.load_off(self._clock())
        elif verb == "load" and len(words) == 3:
            self._model.load(words[0], words[1], _number(words[2]), self._clock())
        elif verb == "loop" and len(words) in (2, 4, 6):
            self._tap_named(words[0])
            if words[1:] == ["off"]:
                self._model.loop_off(words[0])
                return
            if len(words) >= 4:
                bridge = (words[4], words[5]) if len(words) == 6 else None
                self._model.loop(words[0], words[1], words[2], words[3], bridge)
                self._on_tap(words[0])
                return
            raise InputError("a loop needs SEND HEAR GROUND, or off")
        elif verb == "tap" and len(words) in (3, 4):
            self._tap_named(words[0])
            self._model.tap(words[0], words[1], words[2], int(_number(words[3])) if len(words) == 4 else None)
            self._on_tap(words[0])
        else:
            raise InputError(
                f"can't do {line[:60]!r}",
                hint="Ask: probes RED BLACK | state JSON | load CONTACT GROUND AMPS | load off | "
                "tap NAME CONTACT GROUND [BAUD] | loop NAME SEND HEAR GROUND [A B] | loop NAME off",
            )

    def _tap_named(self, name: str) -> None:
        if name not in self._tap_names:
            raise InputError(f"no tap {name!r}", hint=f"Taps: {', '.join(self._tap_names)}.")


def parse_state(text: str) -> BenchState:
    """A bench state from the JSON that BenchState.to_json gives. Raises InputError."""
    try:
        given = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"the state is no JSON: {error}") from error
    if not isinstance(given, dict):
        raise InputError("the state is no JSON object")
    unknown = set(given) - {*_SETS, "supply_on"}
    if unknown:
        raise InputError(f"unknown key {sorted(unknown)[0]!r} in the state")
    sets: dict[str, list[str]] = {}
    for key in _SETS:
        names = given.get(key, [])
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise InputError(f"{key!r} must be a list of names")
        sets[key] = names
    return BenchState.from_json(sets)


def _number(word: str) -> float:
    try:
        value = float(word)
    except ValueError:
        raise InputError(f"{word!r} is no number") from None
    if not 0 < value < 1e9:
        raise InputError(f"{word} is out of range", hint="Say a number above 0.")
    return value
