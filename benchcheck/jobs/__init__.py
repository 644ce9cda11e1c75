"""Runs a stage: asks the bench, judges, records."""
