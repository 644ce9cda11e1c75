"""The canonical bytes of an event and the hash over them. Fixed for good: a changed digit spoils every old record.

The recipe, so that anyone can check a record with other tools:

    canonical(value)  JSON (RFC 8259): objects with their keys sorted by code point, no blanks between tokens,
                      UTF-8 without escapes except those that JSON demands (\\" \\\\ \\b \\f \\n \\r \\t and \\u00XX for
                      the other control characters), integers in decimal, floats in the shortest form that reads back
                      to the same IEEE 754 double (Python's repr: 1.0, 0.1, 1e+16, 1e-07), no NaN, no infinity.
    start of a chain  sha256("benchcheck.record/1" LF canonical({chain, created, schema}))
    event             sha256("benchcheck.event/1" LF canonical({at_utc, body, boot_id, chain, kind, mono_ns, prev,
                      profile, seq, who}))

`prev` is the hash of the event before it in the same chain, for the first event the start of the chain. Hashes are
written as 64 lower-case hexadecimal digits.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping

from benchcheck.words.errors import RecordError

RECORD_SCHEMA = 1
_MAX_DEPTH = 64
_RECORD_PREFIX = b"benchcheck.record/1\n"
_EVENT_PREFIX = b"benchcheck.event/1\n"


def plain(value: object, where: str = "body", depth: int = 0) -> object:
    """`value` in JSON's own types, copied. Raises RecordError, with the place, on what JSON can't hold exactly."""
    if depth > _MAX_DEPTH:
        raise RecordError("nested too deeply to be recorded", where=where)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        text = str.__str__(value) if type(value) is str else str.__str__(str(value))
        try:
            text.encode("utf-8")
        except UnicodeEncodeError as error:
            raise RecordError("text with half a character (a lone surrogate) can't be recorded", where=where) from error
        return text
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise RecordError(
                f"{value} is no number that can be recorded", where=where, hint="Record null where nothing was read."
            )
        return float(value)
    if isinstance(value, Mapping):
        copy: dict[str, object] = {}
        for key, entry in value.items():
            if not isinstance(key, str):
                raise RecordError(f"key {key!r} is not text", where=where)
            copy[str(plain(key, where, depth))] = plain(entry, f"{where}.{key}", depth + 1)
        return copy
    if isinstance(value, list | tuple):
        return [plain(entry, f"{where}[{index}]", depth + 1) for index, entry in enumerate(value)]
    raise RecordError(f"{type(value).__name__} can't be recorded", where=where)


def canonical_bytes(value: object) -> bytes:
    """The one way in which `value` is written down. Raises RecordError where there is none."""
    try:
        text = json.dumps(
            plain(value),
            sort_keys=True,
            separators=(",", ":"),
            ensure_ascii=False,
            allow_nan=False,
            check_circular=False,
        )
    except ValueError as error:  # an integer of more digits than Python writes
        raise RecordError(f"can't be recorded: {error}", where="body") from error
    return text.encode("utf-8")


def chain_start(*, chain: str, created: str, schema: int) -> str:
    """What the first event of a chain names as its predecessor."""
    body = canonical_bytes({"chain": chain, "created": created, "schema": schema})
    return hashlib.sha256(_RECORD_PREFIX + body).hexdigest()


def event_hash(
    *,
    seq: int,
    chain: str,
    kind: str,
    who: str,
    at_utc: str,
    mono_ns: int,
    boot_id: str,
    profile: str,
    body: object,
    prev: str,
) -> str:
    """The hash of an event, from everything in it but the hash."""
    fields = {
        "seq": seq,
        "chain": chain,
        "kind": kind,
        "who": who,
        "at_utc": at_utc,
        "mono_ns": mono_ns,
        "boot_id": boot_id,
        "profile": profile,
        "body": body,
        "prev": prev,
    }
    return hashlib.sha256(_EVENT_PREFIX + canonical_bytes(fields)).hexdigest()
