"""The profile that a command line names."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchcheck.harness.model import Harness


def profile_named(profile: str) -> tuple[Harness, Path]:
    """The harness, and the folder that it was read from. InputError or FaultyFiles where it can't be used."""
    from benchcheck.profile.find import find_profile
    from benchcheck.profile.load import load_profile

    folder = find_profile(profile)
    return load_profile(folder), folder
