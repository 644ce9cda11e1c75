"""What is tested here is arranged, not looked up."""

from __future__ import annotations

import pytest

from benchcheck.plan import order


@pytest.fixture(autouse=True)
def nothing_arranged_yet() -> None:
    order.forget()
