"""TOML with places: the values, and the line and column of every key and value.

The standard library's parser gives values, tree-sitter's grammar gives places. Neither raises on garbage
out of here: what is wrong is returned as faults.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import tree_sitter
import tree_sitter_toml

from benchcheck.words.errors import FileFault, Place

Path = tuple[str | int, ...]

MOST_SYNTAX_FAULTS = 50
DEEPEST = 50
_AT = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)\Z", re.DOTALL)
_KEYS = frozenset({"bare_key", "quoted_key", "dotted_key"})
_COMMA_NUMBER = re.compile(r"=\s*[-+]?(\d+),(\d+)\s*(?:#.*)?\Z")
_BARE_TEXT = re.compile(r"=\s*([A-Za-z_].*)\Z")
_NUMBER_AND_UNIT = re.compile(r"=\s*([-+]?[\d.]+)\s*([A-Za-zΩµ%]+)\s*(?:#.*)?\Z")


@dataclass(frozen=True, slots=True)
class TomlText:
    """Values of one file, and where each stands. A path is what leads to a value: `("feeds", 0, "name")`."""

    file: str
    values: Mapping[str, Any]
    keys: Mapping[Path, tuple[int, int]] = field(default_factory=dict)
    entries: Mapping[Path, tuple[int, int]] = field(default_factory=dict)

    def key_place(self, path: Path) -> Place:
        """Where the key at the end of `path` is written, else where the table around it begins."""
        return self._place(path, self.keys, self.entries)

    def place(self, path: Path) -> Place:
        """Where the value at `path` is written, else where the table around it begins."""
        return self._place(path, self.entries, self.keys)

    def _place(self, path: Path, first: Mapping[Path, tuple[int, int]], then: Mapping[Path, tuple[int, int]]) -> Place:
        while path:
            spot = first.get(path) or then.get(path)
            if spot is not None:
                return Place(self.file, *spot)
            path = path[:-1]
        return Place(self.file, 1, 1)


def read_toml(file: str, text: str) -> tuple[TomlText | None, list[FileFault]]:
    """Values and places of a TOML text, or every syntax fault that can be told apart."""
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        return None, _syntax_faults(file, text, error)
    keys: dict[Path, tuple[int, int]] = {}
    entries: dict[Path, tuple[int, int]] = {}
    source = text.encode("utf-8")
    _Walk(source, keys, entries).document(_parse(source))
    return TomlText(file, values, keys, entries), []


def _parse(source: bytes) -> tree_sitter.Node:
    parser = tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))
    return parser.parse(source).root_node


class _Walk:
    """Follows the syntax tree and notes where keys and values stand."""

    def __init__(self, source: bytes, keys: dict[Path, tuple[int, int]], entries: dict[Path, tuple[int, int]]) -> None:
        self.lines = source.split(b"\n")
        self.keys = keys
        self.entries = entries
        self.counts: dict[Path, int] = {}

    def spot(self, node: tree_sitter.Node) -> tuple[int, int]:
        row, column = node.start_point
        before = self.lines[row][:column] if row < len(self.lines) else b""
        return row + 1, len(before.decode("utf-8", "replace")) + 1

    def document(self, root: tree_sitter.Node) -> None:
        for node in root.children:
            if node.type == "pair":
                self.pair(node, (), 0)
            elif node.type in ("table", "table_array_element"):
                self.table(node)

    def table(self, node: tree_sitter.Node) -> None:
        header = next((child for child in node.children if child.type in _KEYS), None)
        if header is None:
            return
        names = list(_names(header))
        path: Path = ()
        for name in names[:-1]:
            path = (*path, name)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        path = (*path, *names[-1:])
        if node.type == "table_array_element":
            self.keys.setdefault(path, self.spot(node))
            self.counts[path] = self.counts.get(path, 0) + 1
            path = (*path, self.counts[path] - 1)
        self.keys[path] = self.spot(node)
        for child in node.children:
            if child.type == "pair":
                self.pair(child, path, 0)

    def pair(self, node: tree_sitter.Node, path: Path, depth: int) -> None:
        children = [child for child in node.children if child.type not in ("=", "comment")]
        if len(children) < 2 or depth > DEEPEST:
            return
        key, value = children[0], children[-1]
        for name in _names(key):
            path = (*path, name)
            self.keys.setdefault(path, self.spot(key))
        self.value(value, path, depth + 1)

    def value(self, node: tree_sitter.Node, path: Path, depth: int) -> None:
        self.entries[path] = self.spot(node)
        if depth > DEEPEST:
            return
        if node.type == "array":
            items = (child for child in node.named_children if child.type != "comment")
            for index, child in enumerate(items):
                self.value(child, (*path, index), depth + 1)
        elif node.type == "inline_table":
            for child in node.children:
                if child.type == "pair":
                    self.pair(child, path, depth + 1)


def _names(key: tree_sitter.Node) -> Iterator[str]:
    """The parts of a key: one for a bare or quoted key, several for a dotted one."""
    todo = [key]
    while todo:
        node = todo.pop()
        if node.type == "dotted_key":
            todo += [child for child in reversed(node.children) if child.type in _KEYS]
        else:
            written = (node.text or b"").decode("utf-8", "replace")
            if node.type == "quoted_key":
                try:
                    written = next(iter(tomllib.loads(f"{written} = 0")))
                except ValueError:
                    written = written[1:-1]
            yield written


def _syntax_faults(file: str, text: str, error: Exception) -> list[FileFault]:
    """The first fault of the parser; then, with its line left out, the next one, and so on.

    A fault that only arises because an earlier line was left out would mislead, so a later one is listed only
    where the grammar also finds something wrong on that line.
    """
    if isinstance(error, RecursionError):
        return [FileFault(Place(file, 1, 1), "is nested too deep to be read", "Take brackets out.")]
    lines = text.split("\n")
    doubtful = _doubtful_lines(text)
    faults: list[FileFault] = []
    for _ in range(MOST_SYNTAX_FAULTS):
        message, line, column = _where(error, lines)
        written = lines[line - 1] if line <= len(lines) else ""
        if not faults or line in doubtful:
            faults.append(FileFault(Place(file, line, column), f"isn't TOML: {message}", _hint(message, written)))
        if not written:
            break
        lines[line - 1] = ""
        try:
            tomllib.loads("\n".join(lines))
        except RecursionError:
            break
        except ValueError as again:
            error = again
        else:
            break
    return faults


def _where(error: Exception, lines: list[str]) -> tuple[str, int, int]:
    found = _AT.match(str(error))
    if found is None:
        return str(error)[:200], 1, 1
    message = found[1][:1].lower() + found[1][1:]
    if found[2] is None:
        line = max((number for number, text in enumerate(lines, 1) if text.strip()), default=1)
        return f"{message} at the end of the file", line, len(lines[line - 1]) + 1
    line, column = int(found[2]), int(found[3])
    # the parser names the line after the one whose value is missing or cut off
    if line > 1 and column == 1 and (line > len(lines) or not lines[line - 1].strip()):
        line -= 1
        column = len(lines[line - 1]) + 1
    return message, line, column


def _doubtful_lines(text: str) -> frozenset[int]:
    found: set[int] = set()
    todo = [_parse(text.encode("utf-8", "replace"))]
    while todo:
        node = todo.pop()
        if node.type == "ERROR" or node.is_missing:
            found.update(range(node.start_point[0] + 1, node.end_point[0] + 2))
        if node.has_error:
            todo += node.children
    return frozenset(found)


def _hint(message: str, line: str) -> str:
    stripped = line.strip()
    if "overwrite" in message or "declare" in message or "mutate" in message:
        return "It is there twice. One of several is written [[name]], as [[connectors]], a single table [name]."
    if comma := _COMMA_NUMBER.search(stripped):
        return f"A decimal comma? Write a point: {comma[1]}.{comma[2]}."
    if unit := _NUMBER_AND_UNIT.search(stripped):
        return f"Write the number alone: {unit[1]}. The key's name says the unit."
    if bare := _BARE_TEXT.search(stripped):
        word = bare[1].casefold()
        return f"Write {word}." if word in ("true", "false") else "Text stands in quotes, at both ends."
    if stripped.startswith("[") and not stripped.endswith("]"):
        return "A table's name stands in brackets: [limits], or [[connectors]] for one of several."
    if stripped and "=" not in stripped and not stripped.startswith(("#", "[")):
        return "A line is `key = value`, a table's name in brackets, or a comment after #."
    return "Look at the quotes, brackets and commas of this line and the one before."
