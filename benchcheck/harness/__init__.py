"""The harness on paper: pin table, connectors, nets, wire physics, the resistor network, the review."""
