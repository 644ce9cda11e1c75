"""Every error that benchcheck raises on purpose, in one tree.

    BenchcheckError
    ├── UsageError        wrong use of a command                      exit 2
    ├── InputError        a file or a table that can't be used        exit 2
    │   └── FaultyFiles   several faults of the files, all at once    exit 2
    ├── SetupError        port, permission, link, missing part        exit 3
    │   ├── LinkLost      something on the bench stopped answering    exit 3
    │   └── OverCurrent   the supply stays at its limit, or cut off   exit 3
    └── RecordError       the job record can't be opened or written   exit 2

Each says what, where and what to do next. A failed *measurement* is a verdict, never an exception.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum


class ExitCode(IntEnum):
    """What a command says to the program that called it."""

    PASS = 0
    FAIL = 1
    USAGE = 2
    SETUP = 3
    UNSURE = 4
    INTERNAL = 5
    INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a file; line and column count from 1."""

    file: str
    line: int | None = None
    column: int | None = None

    def __str__(self) -> str:
        parts = [self.file]
        if self.line is not None:
            parts.append(str(self.line))
            if self.column is not None:
                parts.append(str(self.column))
        return ":".join(parts)


@dataclass(frozen=True, slots=True)
class FileFault:
    """One thing that is wrong in a file: what, where, and what to do about it.

    code   of the paper-review rule that it breaks, where the file can be read all the same; empty where it can't
    names  the contacts and runs that it is about
    """

    place: Place
    text: str
    hint: str
    code: str = ""
    names: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.place}: {self.text}. {self.hint}" if self.hint else f"{self.place}: {self.text}"


class BenchcheckError(Exception):
    """Something went wrong that benchcheck expected might: what, where, what next."""

    exit_code = ExitCode.INTERNAL

    def __init__(self, text: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(text)
        self.text = text
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        head = f"{self.where}: {self.text}" if self.where else self.text
        return f"{head}\n  {self.hint}" if self.hint else head


class UsageError(BenchcheckError):
    exit_code = ExitCode.USAGE


class InputError(BenchcheckError):
    exit_code = ExitCode.USAGE


class FaultyFiles(InputError):
    """Files with faults, every one of them listed."""

    def __init__(self, what: str, faults: Sequence[FileFault]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        super().__init__(f"{what} has {count} fault{'s' if count != 1 else ''}")

    def __str__(self) -> str:
        lines = [self.text + ":"]
        for fault in self.faults:
            lines.append(f"  {fault.place}: {fault.text}")
            if fault.hint:
                lines.append(f"      {fault.hint}")
        return "\n".join(lines)


class RecordError(BenchcheckError):
    exit_code = ExitCode.USAGE


class SetupError(BenchcheckError):
    """Something of the machine or the bench. `mend` is the one command that would put it right, where there is one."""

    exit_code = ExitCode.SETUP

    def __init__(self, text: str, *, where: str = "", hint: str = "", mend: str = "") -> None:
        super().__init__(text, where=where, hint=hint)
        self.mend = mend


class LinkLost(SetupError):
    """A port, adapter or instrument that was there has stopped answering."""


class OverCurrent(SetupError):
    """The supply stays at its current limit, or has switched itself off; its output is off. limit_a: what was set."""

    def __init__(self, text: str, *, where: str = "", hint: str = "", limit_a: float = 0.0) -> None:
        super().__init__(text, where=where, hint=hint)
        self.limit_a = limit_a
