"""Bits on the wire, and what a bus can come to."""
