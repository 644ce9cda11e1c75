"""The files of a profile in the body of an event, packed, so that a job can give back what it was measured against.

Event `profile.kept`: digest, name of the folder, files {name: zlib stream in base64}. The hash chain covers it like any
other event. What comes back is for the profile room to check against the digest.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Iterable, Mapping

from benchcheck.harness.reading.file_text import LARGEST_BYTES
from benchcheck.words.errors import RecordError
from benchcheck.words.event import Event, EventKind


def kept_body(digest: str, name: str, contents: Mapping[str, bytes]) -> dict[str, object]:
    """The body of `profile.kept`. The same files always give the same text."""
    return {
        "digest": digest,
        "name": name,
        "files": {file: base64.b64encode(zlib.compress(data, 9)).decode("ascii") for file, data in contents.items()},
    }


def is_kept(events: Iterable[Event], digest: str) -> bool:
    """Whether the record holds the files of this version of the profile."""
    return any(event.kind == EventKind.PROFILE_KEPT and event.body.get("digest") == digest for event in events)


def kept_files(events: Iterable[Event], digest: str) -> tuple[str, dict[str, bytes]] | None:
    """Name and files of the profile of this digest, None where the record does not hold them.

    Raises RecordError where they can't be unpacked.
    """
    for event in events:
        if event.kind == EventKind.PROFILE_KEPT and event.body.get("digest") == digest:
            files = event.body.get("files")
            if not isinstance(files, Mapping):
                raise _spoiled(event)
            return str(event.body.get("name", "")), {str(file): _unpacked(event, text) for file, text in files.items()}
    return None


def _unpacked(event: Event, text: object) -> bytes:
    try:
        stream = zlib.decompressobj()
        data = stream.decompress(base64.b64decode(str(text), validate=True), LARGEST_BYTES)
    except (zlib.error, binascii.Error, ValueError) as error:
        raise _spoiled(event) from error
    if not stream.eof:
        raise _spoiled(event)
    return data


def _spoiled(event: Event) -> RecordError:
    return RecordError(
        f"the profile that event {event.seq} kept can't be unpacked",
        hint="`benchcheck job verify` says whether the record was altered.",
    )
