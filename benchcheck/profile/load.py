"""Load a profile folder: read its files, hand their contents to the harness room."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from benchcheck.harness.model import Harness
from benchcheck.harness.reading.file_text import LARGEST_BYTES, decode, too_large
from benchcheck.harness.reading.read_harness import (
    HARNESS_FILE,
    PINS_FILE,
    SHIPPED_UNIT,
    UNIT_FILES,
    Partly,
    needs,
    read_partly,
)
from benchcheck.harness.reading.read_tables import Database
from benchcheck.harness.reading.toml_text import read_toml
from benchcheck.profile.database import load_database
from benchcheck.profile.find import shipped_folder
from benchcheck.words.errors import FaultyFiles, FileFault, InputError, Place


def load_profile(folder: Path) -> Harness:
    """The harness that the profile in `folder` describes.

    Raises FaultyFiles with every fault of every file, InputError where there is no profile at all.
    """
    return load_with_files(folder)[0]


def load_with_files(folder: Path) -> tuple[Harness, dict[str, bytes]]:
    """The same with the bytes it was read from, by their names: those that its digest is of."""
    told, contents = _load(folder)
    if told.harness is None or told.faults:
        raise FaultyFiles(f"profile {folder.resolve().name}", told.faults)
    return told.harness, contents


def load_partly(folder: Path) -> Partly:
    """What can be read of the profile in `folder`, for the paper review; all faults listed.

    Raises InputError where there is no profile at all.
    """
    return _load(folder)[0]


def _load(folder: Path) -> tuple[Partly, dict[str, bytes]]:
    _must_be_profile(folder)
    faults: list[FileFault] = []
    files: dict[str, bytes] = {}
    for file in (HARNESS_FILE, PINS_FILE):
        _read(folder, file, files, faults)
    text, _, _ = decode(HARNESS_FILE, files.get(HARNESS_FILE, b""))
    wanted = needs(text or "")
    for unit_type in wanted.unit_types:
        own = next((file for pattern in UNIT_FILES if _exists(folder / (file := pattern.format(unit_type)))), None)
        if own is not None:
            _read(folder, own, files, faults)
        elif _exists(shipped := shipped_folder() / "units" / f"{unit_type}.toml"):
            _read(folder, SHIPPED_UNIT.format(unit_type), files, faults, path=shipped)
    databases: dict[str, Database] = {}
    contents = dict(files)
    for network in wanted.networks:
        if not _exists(folder / network):
            faults += _missing_networks(folder, text or "", network)
            continue
        _read(folder, network, contents, faults)
        if network in contents:
            found = load_database(network, folder / network)
            if isinstance(found, FileFault):
                faults.append(found)
            else:
                databases[network] = found
    told = read_partly(
        folder.resolve().name,
        files,
        databases=databases,
        unit_names=_unit_names(folder),
        faults=faults,
        digest=digest_of(contents),
    )
    return told, contents


def digest_of(contents: Mapping[str, bytes]) -> str:
    """SHA-256 over names, lengths and bytes of the files, in the order of their names."""
    total = hashlib.sha256()
    for name in sorted(contents):
        encoded = name.encode()
        total.update(f"{len(encoded)} {len(contents[name])}\n".encode() + encoded + contents[name])
    return total.hexdigest()


def _must_be_profile(folder: Path) -> None:
    hint = "`benchcheck demo` needs no profile; to write one, copy the folder profiles/starter."
    try:
        if not folder.exists():
            raise InputError("there is no such folder", where=str(folder), hint=hint)
        if not folder.is_dir():
            raise InputError("is not a folder", where=str(folder), hint=f"A profile is a folder. {hint}")
        if not (folder / HARNESS_FILE).exists():
            raise InputError(f"holds no {HARNESS_FILE}, so it is no profile", where=str(folder), hint=hint)
    except (OSError, ValueError) as error:
        raise InputError(f"can't be opened: {reason_of(error)}", where=str(folder), hint=hint) from error


def _exists(path: Path) -> bool:
    """Whether something is there; what can't be looked at is, so that opening it says why."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return True


def _missing_networks(folder: Path, text: str, network: str) -> list[FileFault]:
    """A message database that is not there, at each line of harness.toml that names it."""
    doc, _ = read_toml(HARNESS_FILE, text)
    if doc is None:
        return []  # then the file has graver faults, which are listed
    hint = f"It belongs into {folder}, or the name is misspelt."
    return [
        FileFault(doc.place(("buses", index, "network")), f"network: the file {network} is missing", hint)
        for index, bus in enumerate(doc.values["buses"])
        if isinstance(bus, dict) and bus.get("network") == network
    ]


def _read(
    folder: Path, file: str, files: dict[str, bytes], faults: list[FileFault], *, path: Path | None = None
) -> None:
    """The bytes of one file into `files`, or why there are none into `faults`. Never more than the limit.

    path  where the file is, when not under its name in `folder`
    """
    path = path or folder / file
    try:
        if path.exists() and not path.is_file():  # a pipe or device could block or never end
            faults.append(FileFault(Place(file), "is no plain file", "Put the file itself there."))
            return
        with path.open("rb") as source:
            data = source.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        faults.append(FileFault(Place(file), "is missing", f"It belongs into {folder}."))
        return
    except (OSError, ValueError) as error:
        hint = "Check that it is a file and may be read."
        faults.append(FileFault(Place(file), f"can't be opened: {reason_of(error)}", hint))
        return
    if len(data) > LARGEST_BYTES:
        size = path.stat().st_size
        faults.append(too_large(file, f"{size / 1e6:.0f} MB"))
        return
    files[file] = data


def reason_of(error: Exception) -> str:
    """An operating system's error in words, without its number and path."""
    text = getattr(error, "strerror", None) or str(error)
    return text[:1].lower() + text[1:]


def _unit_names(folder: Path) -> list[str]:
    """Unit types that have a file, for hints."""
    names: set[str] = set()
    for place in (*((folder / pattern).parent for pattern in UNIT_FILES), shipped_folder() / "units"):
        try:
            names.update(path.stem for path in place.glob("*.toml"))
        except OSError:
            continue
    return sorted(names)
