"""Keys of a terminal, one by one, and the terminal afterwards."""

from __future__ import annotations

import os
import pty
import termios
from collections.abc import Iterator

import pytest

from benchcheck.bench.keyboard import Keyboard, is_at_hand


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    ours, theirs = pty.openpty()
    yield ours, theirs
    for descriptor in (ours, theirs):
        os.close(descriptor)


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        (b"p", "p"),
        (b"90t", "90t"),
        ("é".encode(), "é"),
        (b"\xff", "\ufffd"),
        # ECMA-48 control sequences, as arrows and function keys send them: an arrow is no "C", a Delete no "3"
        (b"a\x1b[Cb", "ab"),
        (b"\x1b[3~n", "n"),
        (b"\x1bOPn", "n"),
        (b"\x1b[1;5Cn", "n"),
        (b"\x1bq", ""),
        (b"\x1b", ""),
    ],
)
def test_keys_come_at_once_and_those_that_are_no_characters_do_not(
    terminal: tuple[int, int], typed: bytes, read: str
) -> None:
    ours, theirs = terminal
    with Keyboard(theirs) as keyboard:
        assert keyboard.fileno() == theirs
        os.write(ours, typed)
        assert keyboard.read() == read


def test_the_terminal_is_put_back_and_shows_nothing_of_what_was_typed(terminal: tuple[int, int]) -> None:
    ours, theirs = terminal
    before = termios.tcgetattr(theirs)
    with Keyboard(theirs) as keyboard:
        changed = termios.tcgetattr(theirs)
        assert not changed[3] & (termios.ECHO | termios.ICANON)
        assert changed[3] & termios.ISIG  # Ctrl-C still interrupts
        os.write(ours, b"n")
        keyboard.read()
    assert termios.tcgetattr(theirs) == before
    os.set_blocking(ours, False)
    with pytest.raises(BlockingIOError):
        os.read(ours, 10)


def test_a_terminal_that_is_gone_is_told_and_closing_it_is_no_trouble() -> None:
    ours, theirs = pty.openpty()
    with Keyboard(theirs) as keyboard:
        os.close(ours)
        assert keyboard.read() is None
    os.close(theirs)


def test_what_is_not_at_hand(terminal: tuple[int, int]) -> None:
    assert not is_at_hand(terminal[1])  # a terminal, but not the one that this process belongs to
    reading, writing = os.pipe()
    assert not is_at_hand(reading)
    for descriptor in (reading, writing):
        os.close(descriptor)
    assert not is_at_hand(reading)
