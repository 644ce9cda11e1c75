"""What is counted of buses: tallies that merge."""
