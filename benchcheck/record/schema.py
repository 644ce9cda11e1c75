"""What a job file is inside: an SQLite database of one table of events, and a few words about the file.

Plain SQL, so that the writer (SQLAlchemy Core) and the verifier (which must work on damaged files) share one text.
"""

from __future__ import annotations

# "bcj1": tells a job record from any other SQLite file without reading a table
APPLICATION_ID = 0x62636A31

COLUMNS = ("seq", "chain", "kind", "who", "at_utc", "mono_ns", "boot_id", "profile", "body", "prev", "hash")

TABLES = (
    "CREATE TABLE meta (key TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL)",
    "CREATE TABLE events (seq INTEGER NOT NULL, chain TEXT NOT NULL, kind TEXT NOT NULL, who TEXT NOT NULL, "
    "at_utc TEXT NOT NULL, mono_ns INTEGER NOT NULL, boot_id TEXT NOT NULL, profile TEXT NOT NULL, "
    "body TEXT NOT NULL, prev TEXT NOT NULL, hash TEXT NOT NULL, PRIMARY KEY (chain, seq))",
)

# Guards against slips and casual edits by other programs; the hash chain finds what gets past them.
GUARDS = {
    "events_not_changed": "CREATE TRIGGER events_not_changed BEFORE UPDATE ON events BEGIN "
    "SELECT RAISE(ABORT, 'the job record is append-only'); END",
    "events_not_removed": "CREATE TRIGGER events_not_removed BEFORE DELETE ON events BEGIN "
    "SELECT RAISE(ABORT, 'the job record is append-only'); END",
    "events_in_order": "CREATE TRIGGER events_in_order BEFORE INSERT ON events "
    "WHEN NEW.seq <> (SELECT COALESCE(MAX(seq), 0) + 1 FROM events WHERE chain = NEW.chain) BEGIN "
    "SELECT RAISE(ABORT, 'an event must follow the last one'); END",
    "meta_not_changed": "CREATE TRIGGER meta_not_changed BEFORE UPDATE ON meta BEGIN "
    "SELECT RAISE(ABORT, 'the job record is append-only'); END",
    "meta_not_removed": "CREATE TRIGGER meta_not_removed BEFORE DELETE ON meta BEGIN "
    "SELECT RAISE(ABORT, 'the job record is append-only'); END",
}
