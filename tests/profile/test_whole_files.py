"""Files written together: whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchcheck.profile import whole_files
from benchcheck.profile.whole_files import write_files
from benchcheck.words.errors import SetupError


def test_the_old_one_is_kept(tmp_path: Path) -> None:
    one, two = tmp_path / "pins.csv", tmp_path / "import.toml"
    write_files({one: b"1", two: b"a"}, keep_old=(one,))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["import.toml", "pins.csv"]
    write_files({one: b"2", two: b"b"}, keep_old=(one,))
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        "pins.csv": b"2", "pins.csv.old": b"1", "import.toml": b"b",
    }  # fmt: skip


@pytest.mark.parametrize("fails_at", [0, 1, 2])
def test_a_full_disk_leaves_everything_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails_at: int
) -> None:
    one, two = tmp_path / "pins.csv", tmp_path / "import.toml"
    write_files({one: b"1", two: b"a"})
    calls = []

    def full(_fd: int) -> None:
        calls.append(_fd)
        if len(calls) > fails_at:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(whole_files.os, "fsync", full)
    with pytest.raises(SetupError, match="No space left on device") as caught:
        write_files({one: b"2", two: b"b"}, keep_old=(one,))
    assert "still there" in caught.value.hint
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"pins.csv": b"1", "import.toml": b"a"}


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SetupError, match="No such file"):
        write_files({tmp_path / "x" / "pins.csv": b"1"})
