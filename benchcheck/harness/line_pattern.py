"""The patterns by which a profile describes the lines of a text protocol, in a form that can't take long.

A pattern is held against a whole line of bytes. It has characters, `.` (any printable one, or a tab), `\\d`, `\\w`, `\\s`,
`\\t`, `\\x1b`, sets as `[A-Z0-9]` or `[^,]`, repeats (`*`, `+`, `?`, `{2}`, `{1,3}`) of one of these, and exactly one group in
parentheses: the type of the line. The group holds one of several words, `(LEVEL|BATT)`, or characters, sets and repeats.

A group can't be repeated, and what may follow a repeat can't be what is repeated. So there is one way at most in which a line
can fit, and a line costs as many looks as it has characters for each word of the group: nothing can be tried over and over.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

LONGEST_PATTERN = 200
MOST_TIMES = 1024

_PRINTABLE = frozenset({9, *range(0x20, 0x7F)})
_DIGITS = frozenset(b"0123456789")
_WORD = frozenset(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_")
_CLASSES = {"d": _DIGITS, "w": _WORD, "s": frozenset(b" \t"), "t": frozenset(b"\t")}
_SPECIAL = "\\^$.|?*+()[]{}"
_COUNT = re.compile(r"\{([0-9]{1,4})(,([0-9]{0,4}))?\}")


class BadPattern(ValueError):
    """What is wrong with a pattern, and what to write instead."""

    def __init__(self, text: str, hint: str) -> None:
        super().__init__(text)
        self.text = text
        self.hint = hint


@dataclass(frozen=True, slots=True)
class _Item:
    """One character out of `chars`, at least so often and at most so often (None: without end); as it was written."""

    chars: frozenset[int]
    least: int
    most: int | None
    text: str

    @property
    def varies(self) -> bool:
        return self.least != self.most


_Words = tuple[tuple[_Item, ...], ...]


def line_pattern(text: str) -> re.Pattern[bytes]:
    """The pattern to be held against a whole line with `fullmatch`; its group 1 is the type. Raises BadPattern."""
    if len(text) > LONGEST_PATTERN:
        raise BadPattern(f"has {len(text)} characters", f"At most {LONGEST_PATTERN}.")
    before, words, after = _Reader(text).read()
    for word in words:
        _check_repeats((*before, *word, *after))
    # the longer word first, so that LEVELS is not taken for LEVEL
    choice = b"|".join(_compiled(word) for word in sorted(words, key=len, reverse=True))
    return re.compile(_compiled(before) + b"(" + choice + b")" + _compiled(after), re.DOTALL)


def fitting(text: str, kind: str, pick: Callable[[Sequence[int]], int]) -> bytes:
    """A line that has this pattern, of the type `kind`, which is taken as it is; `pick` chooses each of its other characters."""
    before, _, after = _Reader(text).read()

    def some(items: Sequence[_Item]) -> bytes:
        chosen = bytearray()
        for item in items:
            alike = sorted(item.chars & _DIGITS) or sorted(item.chars & _WORD) or sorted(item.chars)
            times = item.least if item.most == item.least else max(item.least, 1)
            chosen += bytes(pick(alike) for _ in range(times))
        return bytes(chosen)

    return some(before) + kind.encode("ascii", "replace") + some(after)


def _compiled(items: Sequence[_Item]) -> bytes:
    found = b""
    for item in items:
        found += b"[" + b"".join(b"\\x%02x" % char for char in sorted(item.chars)) + b"]"
        if (item.least, item.most) != (1, 1):
            # what was taken is never given back
            found += b"{%d,%s}" % (item.least, b"" if item.most is None else b"%d" % item.most)
            found += b"+" if item.varies else b""
    return found


def _check_repeats(items: Sequence[_Item]) -> None:
    for place, item in enumerate(items):
        if not item.varies:
            continue
        for follower in items[place + 1 :]:
            if item.chars & follower.chars:
                text = f"'{item.text}' can take what '{follower.text}' behind it needs"
                raise BadPattern(text, "Repeat what can't be the next thing: '[^,]*,' and not '.*,'.")
            if follower.least:
                break


class _Reader:
    """Reads a pattern from left to right."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0

    def read(self) -> tuple[tuple[_Item, ...], _Words, tuple[_Item, ...]]:
        """What stands before the group, the words of the group, what stands behind it."""
        before = self._items()
        if self._next() != "(":
            raise BadPattern("has no group", "Put the type of the line into parentheses: '(LEVEL|BATT) .*'.")
        words = self._group()
        after = self._items()
        if self._next() == "(":
            raise BadPattern("has two groups", "One group alone: the type of the line.")
        return before, words, after

    def _next(self) -> str:
        return self._text[self._at : self._at + 1]

    def _group(self) -> _Words:
        self._at += 1
        if self._next() == "?":
            raise BadPattern("has a group with an option, '(?'", "A plain group alone: the type of the line.")
        words = [self._items(inside=True)]
        while self._next() == "|":
            self._at += 1
            words.append(self._items(inside=True))
        if self._next() != ")":
            raise BadPattern("has a group that is not closed", "Write ')' behind the type of the line.")
        self._at += 1
        if not all(words):
            raise BadPattern("has an empty group, or an empty word in it", "Write the words that the type can be.")
        if len(words) > 1 and any(item.varies for word in words for item in word):
            raise BadPattern("has a repeat in one of several words", "Write words, or one repeat: '([A-Z]+)'.")
        if self._next() and self._next() in "*+?{":
            text = "repeats a group: a repeat within a repeat can take for ever"
            raise BadPattern(text, "Repeat single characters and sets: '[A-Z]+'.")
        return tuple(words)

    def _items(self, *, inside: bool = False) -> tuple[_Item, ...]:
        found: list[_Item] = []
        while (char := self._next()) and char != "(" and not (inside and char in "|)"):
            found.append(self._item())
        if inside and self._next() == "(":
            raise BadPattern("has a group within a group", "One group alone: the type of the line.")
        return tuple(found)

    def _item(self) -> _Item:
        start = self._at
        chars = self._one()
        least, most = self._times()
        text = self._text[start : self._at]
        if self._next() and self._next() in "*+?{":
            raise BadPattern(f"repeats the repeat '{text}': that can take for ever", "Repeat it once.")
        return _Item(chars, least, most, text)

    def _one(self) -> frozenset[int]:
        char = self._next()
        if char == "\\":
            return self._escaped()
        if char == "[":
            return self._set()
        self._at += 1
        if char == ".":
            return _PRINTABLE
        if char in "^$":
            raise BadPattern(f"has '{char}'", f"It is held against the whole line; for the character write '\\{char}'.")
        if char in _SPECIAL:
            raise BadPattern(f"has '{char}' with nothing before it", f"For the character write '\\{char}'.")
        if not (" " <= char <= "~"):
            raise BadPattern(f"has the character U+{ord(char):04X}", "Write bytes beyond ASCII as '\\xe4'.")
        return frozenset({ord(char)})

    def _escaped(self) -> frozenset[int]:
        char = self._text[self._at + 1 : self._at + 2]
        if char == "x":
            digits = self._text[self._at + 2 : self._at + 4]
            if not re.fullmatch(r"[0-9A-Fa-f]{2}", digits):
                raise BadPattern("has '\\x' without two hexadecimal digits", "Write a byte as '\\x1b'.")
            self._at += 4
            return frozenset({int(digits, 16)})
        self._at += 2
        if char in _CLASSES:
            return _CLASSES[char]
        if char and " " <= char <= "~" and not char.isalnum():
            return frozenset({ord(char)})
        raise BadPattern(
            f"has '\\{char if char.isprintable() else ''}'",
            "There are \\d, \\w, \\s, \\t, \\x1b, and \\ before a sign.",
        )

    def _set(self) -> frozenset[int]:
        self._at += 1
        negated = self._next() == "^"
        self._at += negated
        chars: set[int] = set()
        while self._next() != "]":
            if not self._next():
                raise BadPattern("has a set that is not closed", "Write ']' behind its characters.")
            low = self._member()
            if self._next() == "-" and self._text[self._at + 1 : self._at + 2] not in ("]", ""):
                self._at += 1
                high = self._member()
                if len(low) != 1 or len(high) != 1 or min(low) > min(high):
                    raise BadPattern("has a range that is none", "Write the lower end first: 'A-Z'.")
                chars |= set(range(min(low), min(high) + 1))
            else:
                chars |= low
        self._at += 1
        found = _PRINTABLE - chars if negated else frozenset(chars)
        if not found:
            raise BadPattern("has an empty set", "Write the characters that can stand there.")
        return found

    def _member(self) -> frozenset[int]:
        char = self._next()
        if char == "\\":
            return self._escaped()
        if not (" " <= char <= "~"):
            raise BadPattern(f"has the character U+{ord(char):04X}", "Write bytes beyond ASCII as '\\xe4'.")
        self._at += 1
        return frozenset({ord(char)})

    def _times(self) -> tuple[int, int | None]:
        char = self._next()
        if char and char in "*+?":
            self._at += 1
            return {"*": (0, None), "+": (1, None), "?": (0, 1)}[char]
        if char != "{":
            return 1, 1
        count = _COUNT.match(self._text, self._at)
        if count is None:
            raise BadPattern("has '{' without a count", "Write '{2}' or '{1,3}'; for the character write '\\{'.")
        self._at = count.end()
        least = int(count[1])
        most: int | None = least
        if count[2]:
            most = int(count[3]) if count[3] else None
        if (most is not None and (most < least or most == 0)) or max(least, most or 0) > MOST_TIMES:
            raise BadPattern(f"has the count '{count[0]}'", f"The lower end first, 1 to {MOST_TIMES}.")
        return least, most
