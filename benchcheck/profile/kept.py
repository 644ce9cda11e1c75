"""A profile that was kept as bytes (in a job record): the harness that it describes."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

from benchcheck.harness.model import Harness
from benchcheck.harness.reading.file_text import decode
from benchcheck.harness.reading.read_harness import HARNESS_FILE, needs, read_harness
from benchcheck.harness.reading.read_tables import Database
from benchcheck.profile.database import load_database
from benchcheck.profile.load import digest_of
from benchcheck.words.errors import FileFault, InputError


def harness_of(name: str, contents: Mapping[str, bytes], digest: str) -> Harness:
    """The harness that these files describe.

    Raises InputError where they are not the files of `digest`, FaultyFiles where they can't be read by this version.
    """
    if digest_of(contents) != digest:
        raise InputError(
            "the files that were kept are not those of this version of the profile",
            where=name,
            hint="`benchcheck job verify` says whether the record was altered.",
        )
    text, _, _ = decode(HARNESS_FILE, contents.get(HARNESS_FILE, b""))
    networks = [network for network in needs(text or "").networks if network in contents]
    faults: list[FileFault] = []
    databases: dict[str, Database] = {}
    for network in networks:
        found = _database(network, contents[network])
        if isinstance(found, FileFault):
            faults.append(found)
        else:
            databases[network] = found
    files = {file: data for file, data in contents.items() if file not in networks}
    return read_harness(name, files, databases=databases, faults=faults, digest=digest)


def _database(network: str, data: bytes) -> Database | FileFault:
    # the library tells the form by the file's ending, and reads files only; the name is ours, whatever the profile says
    with tempfile.TemporaryDirectory(prefix="benchcheck-", ignore_cleanup_errors=True) as folder:
        path = (Path(folder) / "network").with_suffix(Path(network).suffix[:10])
        path.write_bytes(data)
        return load_database(network, path)
