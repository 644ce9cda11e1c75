"""The job record: append-only events with a hash chain."""
