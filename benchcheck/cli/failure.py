"""How a command that fails says so: words on stderr, and where JSON was asked for an error object on stdout.

{"schema": "benchcheck.error/1", "error": what, "where": place, "hint": what to do next, "exit_code": number,
 "faults": [{"file", "line", "column", "text", "hint", "code"}, ...]}
"""

from __future__ import annotations

import contextlib
import errno
import json
from collections.abc import Sequence
from itertools import pairwise

import click

from benchcheck.words.errors import BenchcheckError, ExitCode, FaultyFiles, FileFault

SCHEMA = "benchcheck.error/1"
MOST_LISTED = 200  # faults in words; JSON has all
_UNWRITABLE = (errno.EPIPE, errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT, errno.EBADF)


def wants_json(words: Sequence[str]) -> bool:
    """Whether these arguments ask for JSON on stdout. `report` alone takes a file there: `-` is stdout."""
    options = words[: words.index("--")] if "--" in words else words
    if words and words[0] == "report":
        return "--json=-" in options or any(pair == ("--json", "-") for pair in pairwise(options))
    return "--json" in options


def say_failure(error: BaseException, words: Sequence[str]) -> int:
    """Say what ended the command that `words` asked for; gives the exit code. Raised again: stdout can't be written."""
    as_json = wants_json(words)
    match error:
        case click.Abort() | KeyboardInterrupt():
            text, code = "interrupted", ExitCode.INTERRUPTED
            _say("Interrupted; what was recorded stays recorded.")
        case click.ClickException():
            text, code = error.format_message(), ExitCode.USAGE
            with contextlib.suppress(OSError):
                error.show()
        case BenchcheckError():
            faults = error.faults if isinstance(error, FaultyFiles) else ()
            _say(f"benchcheck: {_short(error) if isinstance(error, FaultyFiles) else error}")
            if as_json:
                _print(error.text, error.where, error.hint, faults, error.exit_code)
            return error.exit_code
        case OSError() if error.errno in _UNWRITABLE and error.filename is None:
            raise error
        case _:
            text, code = f"internal error: {type(error).__name__}: {error}", ExitCode.INTERNAL
            _say(f"benchcheck: {text}\n  The trace is in {_write_trace(error)}; please report it.")
    if as_json:
        _print(text, "", "", (), code)
    return code


def _write_trace(error: BaseException) -> str:
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile(
        "w", prefix="benchcheck-", suffix=".trace", delete=False, encoding="utf-8"
    ) as sink:
        traceback.print_exception(error, file=sink)
        return sink.name


def _short(error: FaultyFiles) -> str:
    if len(error.faults) <= MOST_LISTED:
        return str(error)
    first = FaultyFiles("", error.faults[:MOST_LISTED])
    listed = str(first).partition("\n")[2]
    left = len(error.faults) - MOST_LISTED
    return f"{error.text}:\n{listed}\n  and {left} more; the same command with --json lists all of them"


def _say(words: str) -> None:
    with contextlib.suppress(OSError):  # there is nobody left to tell
        click.echo(words, err=True)


def _print(error: str, where: str, hint: str, faults: Sequence[FileFault], code: int) -> None:
    document = {
        "schema": SCHEMA,
        "error": error,
        "where": where,
        "hint": hint,
        "exit_code": int(code),
        "faults": [
            {
                "file": fault.place.file,
                "line": fault.place.line,
                "column": fault.place.column,
                "text": fault.text,
                "hint": fault.hint,
                "code": fault.code,
            }
            for fault in faults
        ],
    }
    click.echo(json.dumps(document, indent=2, ensure_ascii=False))
