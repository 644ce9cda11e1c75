"""A port that was pulled out is found again by what stays with it, and never by its number alone."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest
from serial.tools import list_ports

from benchcheck.bench.port_finder import PortFinder
from benchcheck.words.errors import SetupError


def entry(device: str, serial_number: str | None = "A1", vid: int | None = 0x403) -> SimpleNamespace:
    return SimpleNamespace(device=device, vid=vid, pid=0x6001, serial_number=serial_number, location=None)


def finder(port: str, monkeypatch: pytest.MonkeyPatch, *entries: SimpleNamespace) -> PortFinder:
    monkeypatch.setattr(list_ports, "comports", lambda: list(entries))
    made = PortFinder(port)
    assert made.where() == port
    made.met()
    return made


def test_a_device_with_a_serial_number_is_found_under_another_number(monkeypatch: pytest.MonkeyPatch) -> None:
    made = finder("/dev/ttyUSB0", monkeypatch, entry("/dev/ttyUSB0"))
    monkeypatch.setattr(list_ports, "comports", lambda: [entry("/dev/ttyUSB0", "B2"), entry("/dev/ttyUSB1")])
    assert made.where() == "/dev/ttyUSB1"
    monkeypatch.setattr(list_ports, "comports", lambda: [entry("/dev/ttyUSB0", "B2")])
    with pytest.raises(SetupError, match="is not there"):
        made.where()


def test_a_device_that_nothing_is_known_of_is_not_opened_again(monkeypatch: pytest.MonkeyPatch) -> None:
    made = finder("/dev/ttyS0", monkeypatch, entry("/dev/ttyS0", None, None))
    with pytest.raises(SetupError, match="no name that stays with it"):
        made.where()


def test_links_and_urls_are_names_that_stay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    link = tmp_path / "by-id"
    link.symlink_to("/dev/null")
    for port in (str(link), "socket://127.0.0.1:4001"):
        assert finder(port, monkeypatch).where() == port
