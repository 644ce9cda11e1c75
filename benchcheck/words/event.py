"""An event: one line of the job record. All else is computed from these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class EventKind(StrEnum):
    """What can be recorded. Bodies are plain JSON objects with the keys named here."""

    JOB_STARTED = "job.started"  # title, profile, digest, version, ways
    SESSION_STARTED = "session.started"  # bench (identities), passive (how we know), ambient_c, ambient_said_by, meter
    LEAD_ZERO = "leads.zeroed"  # ohm, scatter_ohm, readings, own_rel, assumed, meter
    CAUTIONS = "cautions.acknowledged"  # cautions
    STATE = "state.confirmed"  # state, changes, simulated
    READING = "reading.taken"  # step, reading, verdict {outcome, reason, text}, question, follow_up, band, basis
    SKIPPED = "step.skipped"  # step, reason
    SQUAWK_OPENED = "squawk.opened"  # the squawk's JSON
    SQUAWK_CLOSED = "squawk.closed"  # id, by
    WAIVER = "waiver.given"  # step or squawk, reason
    CAPTURE = "capture.written"  # file, sha256, bytes; of a capture in parts one event each: part, parts, capture
    REWORK = "rework.done"  # runs, connectors, contacts, reason, again {step: why}
    PROFILE_KEPT = "profile.kept"  # digest, name, files {name: zlib in base64}
    PROFILE_CHANGED = "profile.changed"  # old, new (digests), known, runs {added, removed, changed, renumbered}, lines,
    # cosmetic, again {step: why}, new_steps, gone_steps
    SESSION_ENDED = "session.ended"  # outcome


@dataclass(frozen=True, slots=True)
class Event:
    """seq counts from 1 in the job; at_utc is RFC 3339 with microseconds; mono_ns with boot_id orders
    events of one machine whatever its wall clock does; hash chains over the canonical bytes."""

    seq: int
    chain: str
    kind: str
    who: str
    at_utc: str
    mono_ns: int
    boot_id: str
    profile: str
    body: Mapping[str, object]
    prev: str
    hash: str
