"""The XML parts of a packed document, bounded: a small file can't unpack to more than a machine holds."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from xml.etree import ElementTree

LARGEST_PART = 200_000_000
_CHUNK = 65_536


class TooMuch(ValueError):
    """A document that is larger inside than benchcheck reads."""


class Parts:
    """Parts of one archive by name."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        self._names = frozenset(archive.namelist())

    def __contains__(self, name: str) -> bool:
        return name in self._names

    def tree(self, name: str) -> ElementTree.Element:
        """A whole part. KeyError where there is none."""
        return ElementTree.fromstring(self._bytes(name))

    def each(self, name: str, tags: tuple[str, ...]) -> Iterator[ElementTree.Element]:
        """Each element of these names in a part, one after the other; it is emptied once the next is asked for."""
        root = None
        for event, element in ElementTree.iterparse(io.BytesIO(self._bytes(name)), events=("start", "end")):
            if root is None:
                root = element
            if event == "end" and element.tag.rpartition("}")[2] in tags:
                yield element
                element.clear()

    def _bytes(self, name: str) -> bytes:
        with self._archive.open(name) as source:
            data = source.read(LARGEST_PART + 1)
        if len(data) > LARGEST_PART:
            raise TooMuch(f"its part {name} is larger than {LARGEST_PART // 1_000_000} MB")
        if b"<!DOCTYPE" in data[:2000] or b"<!ENTITY" in data:
            raise ValueError("it declares entities, which no spreadsheet program does")
        return data
