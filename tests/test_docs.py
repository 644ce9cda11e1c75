"""What README.md and DEVELOPERS.md say of the program is true of it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchcheck.checks.kind import all_kinds
from benchcheck.cli.main import COMMANDS
from benchcheck.harness.model import Role
from benchcheck.harness.review.rule import all_rules
from benchcheck.words.errors import ExitCode

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_readme_opens_with_the_job_and_two_commands() -> None:
    blocks = re.findall(r"^```(\w*)\n(.*?)\n```$", README, re.DOTALL | re.MULTILINE)
    assert [text for language, text in blocks if language != "text"] == [
        "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/benchcheck demo",
        "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/pytest",
    ]
    assert "@@" not in README


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"`benchcheck {command}" in README


@pytest.mark.parametrize("role", Role)
def test_every_role_is_in_the_readme(role: Role) -> None:
    assert role.value in README


@pytest.mark.parametrize("code", ExitCode)
def test_every_exit_code_is_in_the_readme(code: ExitCode) -> None:
    assert re.search(rf"\b{int(code)} \w", README[README.index("Exit codes:") :])


def test_every_check_kind_is_in_the_table() -> None:
    rows = re.findall(r"^\| `(\w+)` \| (dead|power|live) \| (.+) \|$", DEVELOPERS, re.MULTILINE)
    assert {name: (stage, title) for name, stage, title in rows} == {
        kind.name: (kind.stage.value, kind.title) for kind in all_kinds().values()
    }


def test_every_review_rule_is_in_the_table() -> None:
    rows = re.findall(r"^\| `(\w+)` \| (finding|warning) \| (.+) \|$", DEVELOPERS, re.MULTILINE)
    assert {code: (severity, title) for code, severity, title in rows} == {
        rule.code: (rule.severity.value, rule.title) for rule in all_rules().values()
    }


def test_every_room_is_in_the_map() -> None:
    rooms = {path.parent.name for path in (ROOT / "benchcheck").glob("*/__init__.py")}
    assert set(re.findall(r"^\| `(\w+)/` \|", DEVELOPERS, re.MULTILINE)) == rooms


def test_the_paths_that_are_named_exist() -> None:
    for text in (README, DEVELOPERS):
        for path in re.findall(r"`((?:tests|benchcheck|captures|profiles)/[\w./]*\w)`", text):
            assert (ROOT / path).exists() or path == "benchcheck/shipped/profiles", path  # that one is in the wheel
