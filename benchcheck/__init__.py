"""benchcheck: prove a wiring harness before its connectors are closed."""

__version__ = "0.1.0"
