"""benchcheck: prove a wiring harness before its connectors are closed."""

import os

# The networks solved here are small: a second thread of the numeric library costs more than it brings
# (a 145 x 145 solve: 80 ms with two, 2 ms with one). Set before NumPy is imported anywhere; the user's own value wins.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
