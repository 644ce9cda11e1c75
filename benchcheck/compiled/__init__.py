"""Loops over frames in C, for the pure rooms above; `counting` is None where they were not built.

They are built when the package is installed and a C compiler is at hand (`build_hook.py`). Without one the vectorised code
beside each caller does the same, to the last digit, some three times slower; `tests/compiled` holds the two together.
"""

from __future__ import annotations

try:
    from benchcheck.compiled import counting
except ImportError:
    counting = None  # type: ignore[assignment]

__all__ = ["counting"]
