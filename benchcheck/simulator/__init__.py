"""A bench made of code: one model of the harness with faults in it, reached only through real drivers.

Nothing above the command line imports this room. What the tool predicts is checked against it, so it
computes its own wiring and its own circuit and takes nothing from harness/circuit.py.
"""
