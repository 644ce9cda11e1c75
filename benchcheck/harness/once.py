"""Answers about a harness that are worked out once: a harness never changes, so they hold as long as it is there."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar, cast

from benchcheck.harness.model import Harness

P = ParamSpec("P")
R = TypeVar("R")


def once(function: Callable[Concatenate[Harness, P], R]) -> Callable[Concatenate[Harness, P], R]:
    """Keep what `function` says of a harness, for each set of further arguments (hashable ones), with the harness itself."""

    @wraps(function)
    def asked(harness: Harness, *args: P.args, **kwargs: P.kwargs) -> R:
        key = (function, args, tuple(sorted(kwargs.items())))
        kept = harness.kept
        if key not in kept:
            kept[key] = function(harness, *args, **kwargs)
        return cast(R, kept[key])

    return cast(Callable[Concatenate[Harness, P], R], asked)
