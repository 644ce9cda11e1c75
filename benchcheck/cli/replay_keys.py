"""The keys of a replay that is played, and the same as lines. The table stands here once."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.jobs.playing.play_state import Command, Kind

SEEK_S = 10.0  # forward and back where no number is given
_LONGEST_NUMBER = 12


@dataclass(frozen=True, slots=True)
class Control:
    """A key, the word for it in a line, and what it does; `number` says what a number with it means ("": it takes none)."""

    key: str
    word: str
    kind: Kind | None
    what: str
    number: str = ""
    default: float | None = None
    sign: int = 1


CONTROLS = (
    Control("p", "pause", Kind.PAUSE_OR_GO_ON, "pause, or go on"),
    Control("n", "next", Kind.FRAME, "one frame, then pause"),
    Control("e", "event", Kind.EVENT, "to the next mark or gap of a second, then pause"),
    Control("f", "forward", Kind.BY, "forward 10 seconds, or as many as typed before", "seconds", SEEK_S),
    Control("b", "back", Kind.BY, "back 10 seconds, or as many as typed before", "seconds", SEEK_S, -1),
    Control("t", "to", Kind.TO, "to the second typed before", "second"),
    Control("x", "speed", Kind.SPEED, "at so many times the speed, typed before", "times"),
    Control("+", "faster", Kind.FASTER, "faster"),
    Control("-", "slower", Kind.SLOWER, "slower"),
    Control("q", "quit", Kind.QUIT, "quit"),
    Control("?", "help", None, "say the keys again"),
)
_BY_KEY = {control.key: control for control in CONTROLS}
_BY_WORD = {control.word: control for control in CONTROLS} | _BY_KEY


def keys_text() -> str:
    """What the keys do, for a person at a terminal."""
    rows = [f"  {control.key}  {control.what}" for control in CONTROLS]
    return "\n".join(["Keys (a number is typed before the letter, as 90t):", *rows])


def lines_text() -> str:
    """What can be typed as lines."""
    words = ", ".join(f"{control.word} {control.number.upper()}".strip() for control in CONTROLS)
    return f"Lines that are obeyed (go instead of a second pause): {words}"


class Keys:
    """Keys as they come; `number` is what was typed so far for the next letter."""

    def __init__(self) -> None:
        self.number = ""

    def feed(self, text: str) -> list[Command | str]:
        """Commands, and texts to be said."""
        found: list[Command | str] = []
        for char in text:
            if (char.isascii() and char.isdecimal()) or char in ".,":
                self.number = (self.number + char.replace(",", "."))[:_LONGEST_NUMBER]
            elif char in "\x7f\b":
                self.number = self.number[:-1]
            else:
                control, number, self.number = _BY_KEY.get(char), self.number, ""
                if control is not None:
                    found.append(_command(control, number))
        return found


def of_line(line: str) -> Command | str | None:
    """The command of a line, or a text to be said; None of an empty one."""
    words = line.lower().split()
    if not words:
        return None
    if words == ["go"]:
        return Command(Kind.GO_ON)
    if words == ["pause"]:
        return Command(Kind.PAUSE)
    control = _BY_WORD.get(words[0])
    if control is None or len(words) > 2 or (len(words) == 2 and not control.number):
        return f"{_shown(line)!r} is not known. {lines_text()}"
    return _command(control, words[1] if len(words) == 2 else "")


def _command(control: Control, number: str) -> Command | str:
    if control.kind is None:
        return ""
    if not control.number:
        return Command(control.kind)
    if not number and control.default is not None:
        return Command(control.kind, control.sign * control.default)
    value = _value(number)
    if value is None or (control.kind is Kind.SPEED and value == 0):
        return f"{control.word} needs a number: {control.what}" if not number else f"{_shown(number)!r} is no number"
    return Command(control.kind, control.sign * value)


def _value(number: str) -> float | None:
    whole, _, part = number.replace(",", ".").partition(".")
    digits = whole + part
    return float(f"{whole or '0'}.{part or '0'}") if digits.isascii() and digits.isdecimal() else None


def _shown(text: str) -> str:
    return "".join(char if char.isprintable() else "?" for char in text.strip())[:40]
