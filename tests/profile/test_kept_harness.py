"""A profile from the bytes that were kept: the same harness as from its folder."""

from __future__ import annotations

import dataclasses

import pytest
from model_bench import PROFILES

from benchcheck.harness.difference.compare import difference
from benchcheck.profile.kept import harness_of
from benchcheck.profile.load import digest_of, load_with_files
from benchcheck.words.errors import FaultyFiles, InputError


@pytest.mark.parametrize("name", ["starter", "survey_launch"])
def test_the_same_harness(name: str) -> None:
    harness, contents = load_with_files(PROFILES / name)
    assert digest_of(contents) == harness.digest
    again = harness_of(name, contents, harness.digest)
    assert again == harness
    assert not difference(harness, again)
    assert any(bus.messages for bus in again.buses)  # from the message database


def test_files_of_another_version_are_refused() -> None:
    harness, contents = load_with_files(PROFILES / "starter")
    with pytest.raises(InputError, match="not those of this version"):
        harness_of("starter", {**contents, "pins.csv": b""}, harness.digest)


def test_files_that_this_version_can_not_read_are_listed() -> None:
    _, contents = load_with_files(PROFILES / "starter")
    spoilt = {**contents, "pins.csv": b"nonsense"}
    with pytest.raises(FaultyFiles):
        harness_of("starter", spoilt, digest_of(spoilt))
    spoilt = {**contents, "starter.dbc": b"nonsense"}
    with pytest.raises(FaultyFiles):
        harness_of("starter", spoilt, digest_of(spoilt))


def test_the_fields_that_a_digest_does_not_cover_are_the_same() -> None:
    harness, contents = load_with_files(PROFILES / "starter")
    again = harness_of("other name", contents, harness.digest)
    assert dataclasses.replace(again, name=harness.name) == harness
