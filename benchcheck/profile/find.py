"""Find a profile by path, or by name among those that come with benchcheck."""

from __future__ import annotations

from pathlib import Path

import benchcheck
from benchcheck.harness.reading.hints import did_you_mean, shown
from benchcheck.harness.reading.read_harness import HARNESS_FILE
from benchcheck.words.errors import InputError


def find_profile(name_or_path: str | Path) -> Path:
    """The folder of a profile: an existing path, else the profile of that name that comes with benchcheck."""
    path = Path(name_or_path)
    try:
        if path.is_file() and path.name == HARNESS_FILE:
            return path.parent
        if path.exists():
            return path
    except PermissionError as error:
        raise InputError(
            "permission denied: this user may not look there",
            where=str(path),
            hint="Make the folders above it readable.",
        ) from error
    except (OSError, ValueError):
        pass  # no path that a system knows; it is not found below either
    names = shipped_names()
    if str(name_or_path) in names:
        return shipped_folder() / str(name_or_path)
    hint = did_you_mean(str(name_or_path), names, what="Profiles that come with benchcheck")
    raise InputError(
        f"no folder and no profile of the name {shown(name_or_path)}",
        hint=f"{hint} To write a profile of your own, copy the folder {shipped_folder() / 'starter'}.".strip(),
    )


def shipped_folder() -> Path:
    """Where the profiles are that come with benchcheck: in the installed package, or beside it in a checkout."""
    package = Path(benchcheck.__file__).parent
    installed = package / "shipped" / "profiles"
    return installed if installed.is_dir() else package.parent / "profiles"


def shipped_names() -> list[str]:
    """Names of the profiles that come with benchcheck."""
    try:
        return sorted(path.parent.name for path in shipped_folder().glob(f"*/{HARNESS_FILE}"))
    except OSError:
        return []
