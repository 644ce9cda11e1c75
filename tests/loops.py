"""Both ways of counting: the compiled loops, and the vectorised code that serves where they were not built."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from benchcheck import compiled

WAYS = ("compiled", "vectorised")
_LOOPS = compiled.counting


@contextmanager
def counted(way: str) -> Iterator[None]:
    """Count in this way; skips the test where the loops were not built."""
    if way == "compiled" and _LOOPS is None:
        pytest.skip("the loops were not built: no C compiler when the package was installed")
    before = compiled.counting
    compiled.counting = _LOOPS if way == "compiled" else None  # type: ignore[assignment]
    try:
        yield
    finally:
        compiled.counting = before


@pytest.fixture(params=WAYS, scope="module")
def way(request: pytest.FixtureRequest) -> Iterator[str]:
    """Runs a module's tests in both ways."""
    with counted(request.param):
        yield request.param
