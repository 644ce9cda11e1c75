"""What one packet block holds that is no frame: the bytes of a line, or a mark."""

from __future__ import annotations

import json
from typing import cast

from benchcheck.capture import pcapng_form as form
from benchcheck.capture.recording import LineChunk, Mark


def line_chunk(line: int, time_ns: int, payload: bytes) -> LineChunk | None:
    """The payload of a packet of a serial line; None where it is of no version that is known."""
    if len(payload) < 2:
        return None
    sent = payload[1] == form.SERIAL_SENT
    if payload[0] == form.SERIAL_VERSION:
        return LineChunk(line, time_ns, sent, payload[2:])
    if payload[0] == form.SERIAL_CHECKED_VERSION and len(payload) >= 4:
        return LineChunk(line, time_ns, sent, payload[4:], int.from_bytes(payload[2:4], "big"))
    return None


def mark_of(time_ns: int, payload: bytes) -> Mark | None:
    """The payload of a packet of marks; None where it is no JSON object with a kind."""
    try:
        body = json.loads(payload)
        json.dumps(body, allow_nan=False)  # what can't be written again as JSON, as NaN and 1e999, was none
    except (ValueError, RecursionError):
        return None
    if not isinstance(body, dict) or not isinstance(body.get("kind"), str):
        return None
    body = cast("dict[str, object]", body)
    return Mark(time_ns, str(body.pop("kind")), body)
