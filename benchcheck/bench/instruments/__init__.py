"""Meters, supplies and what else speaks SCPI."""
