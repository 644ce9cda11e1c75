"""The direction of imports: rooms depend downwards only, pure rooms touch no I/O, the program starts light."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import benchcheck
from benchcheck.cli.main import COMMANDS

PACKAGE = Path(benchcheck.__file__).parent
ROOT = PACKAGE.parent

# From the bottom upwards; a room may import from the rooms below it. Rooms in one tuple stand side by side and
# know nothing of each other.
LEVELS: tuple[tuple[str, ...], ...] = (
    ("compiled",),
    ("words",),
    ("harness",),
    ("traffic",),
    ("checks",),
    ("plan",),
    ("diagnosis",),
    ("readiness",),
    ("record", "capture", "bench", "profile"),
    ("jobs",),
    ("report",),
    ("screens",),
    ("cli",),
)
LEVEL = {room: number for number, rooms in enumerate(LEVELS) for room in rooms}
PURE = ("compiled", "words", "harness", "traffic", "checks", "plan", "diagnosis", "readiness")

# The simulator stands apart: it plays the world outside, so it may know the harness, not how it is judged.
MAY_THE_SIMULATOR = frozenset({"words", "harness", "profile", "simulator"})
MAY_USE_THE_SIMULATOR = frozenset({"cli", "simulator"})

# What reads a clock, a file or a port, starts threads or processes, or draws a screen.
IO_MODULES = frozenset(
    [
        "asyncio",
        "atexit",
        "can",
        "cantools",
        "concurrent",
        "fcntl",
        "ftplib",
        "getpass",
        "glob",
        "http",
        "io",
        "jinja2",
        "locale",
        "logging",
        "mmap",
        "multiprocessing",
        "os",
        "pathlib",
        "platform",
        "platformdirs",
        "pty",
        "pyvisa",
        "pyvisa_py",
        "queue",
        "random",
        "sched",
        "secrets",
        "select",
        "selectors",
        "serial",
        "shutil",
        "signal",
        "smtplib",
        "socket",
        "socketserver",
        "sqlalchemy",
        "sqlite3",
        "ssl",
        "subprocess",
        "sys",
        "syslog",
        "tempfile",
        "termios",
        "textual",
        "threading",
        "time",
        "tty",
        "urllib",
        "uuid",
        "webbrowser",
        "click",
    ]
)
# What opens a port or a file of a device; the screens and the commands go through benchcheck.bench for it.
DRIVERS = frozenset({"can", "serial", "pyvisa", "pyvisa_py", "socket", "termios", "fcntl", "pty"})
HEAVY = (
    "numpy",
    "can",
    "serial",
    "pyvisa",
    "sqlalchemy",
    "jinja2",
    "textual",
    "cantools",
    "pydantic",
    "tree_sitter",
    "xlsxwriter",
    "tomli_w",
)


def modules() -> Iterator[tuple[str, Path]]:
    """Every module of the package as (dotted name below benchcheck, file); what runs while it is installed is none."""
    for path in sorted(set(PACKAGE.rglob("*.py")) - {PACKAGE / "compiled" / "build_hook.py"}):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        yield ".".join(parts), path


def imports(path: Path) -> tuple[tuple[int, str], ...]:
    """Every import of a module with its line, wherever it stands, as a full dotted name."""
    return imports_of(path, path.read_text(encoding="utf-8"))


@cache
def imports_of(path: Path, text: str) -> tuple[tuple[int, str], ...]:
    return tuple(found_in(path, text))


def found_in(path: Path, text: str) -> Iterator[tuple[int, str]]:
    here = ("benchcheck", *path.relative_to(PACKAGE).with_suffix("").parts)
    for node in ast.walk(ast.parse(text, str(path))):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield node.lineno, name.name
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(here[: len(here) - node.level]) + "." if node.level else ""
            module = f"{base}{node.module or ''}".rstrip(".")
            yield node.lineno, module
            for name in node.names:
                yield node.lineno, f"{module}.{name.name}"
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in ("import_module", "__import__") and isinstance(node.args[0].value, str):
                yield node.lineno, node.args[0].value


def room_of(dotted: str) -> str:
    """`traffic` of `benchcheck.traffic.lines.nmea`; nothing of the package itself or of a module beside the rooms."""
    parts = dotted.split(".")
    is_room = len(parts) > 1 and parts[0] == "benchcheck" and (PACKAGE / parts[1]).is_dir()
    return parts[1] if is_room else ""


MODULES = dict(modules())


def wrongs(path: Path, room: str) -> list[str]:
    """What a module imports against the direction."""
    found = []
    for line, name in imports(path):
        to = room_of(name)
        if not to or to == room:
            continue
        if to == "simulator":
            allowed = room in MAY_USE_THE_SIMULATOR
        elif room == "simulator":
            allowed = to in MAY_THE_SIMULATOR
        else:
            allowed = LEVEL[to] < LEVEL[room]
        if not allowed:
            found.append(f"{path.relative_to(ROOT)}:{line}: {room} imports {name}")
    return found


def test_there_are_modules_to_look_at() -> None:
    assert len(MODULES) > 100
    names = {name for _, name in imports(MODULES["cli.main"])}
    assert {"click", "benchcheck.words.errors"} <= names  # and the reader sees them


def test_every_module_is_in_a_room() -> None:
    known = {*LEVEL, "simulator"}
    outside = {name for name in MODULES if name.partition(".")[0] not in known}
    assert outside <= {"__init__", "__main__"}
    assert known == {entry.name for entry in PACKAGE.iterdir() if (entry / "__init__.py").is_file()}


@pytest.mark.parametrize("room", [*LEVEL, "simulator"])
def test_rooms_depend_downwards_only(room: str) -> None:
    inside = [path for name, path in MODULES.items() if name.partition(".")[0] == room]
    assert [wrong for path in inside for wrong in wrongs(path, room)] == []


@pytest.mark.parametrize("room", PURE)
def test_pure_rooms_touch_no_io(room: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line}: imports {module}"
        for name, path in MODULES.items()
        if name.partition(".")[0] == room
        for line, module in imports(path)
        if module.partition(".")[0] in IO_MODULES
    ]
    assert found == []


@pytest.mark.parametrize("room", PURE)
def test_pure_rooms_neither_print_nor_open(room: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}: calls {node.func.id}"
        for name, path in MODULES.items()
        if name.partition(".")[0] == room
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        if node.func.id in ("open", "print", "input", "eval", "exec", "breakpoint")
    ]
    assert found == []


@pytest.mark.parametrize("room", ["cli", "screens", "report", "jobs"])
def test_only_the_bench_opens_ports(room: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line}: imports {module}"
        for name, path in MODULES.items()
        if name.partition(".")[0] == room
        for line, module in imports(path)
        if module.partition(".")[0] in DRIVERS
    ]
    assert found == []


def test_the_rule_would_see_a_wrong_import(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The test of the test: each kind of breach, written down, is found."""
    package = tmp_path / "benchcheck"
    for room in ("words", "record", "bench", "checks", "simulator"):
        (package / room).mkdir(parents=True)
    monkeypatch.setattr(sys.modules[__name__], "PACKAGE", package)
    monkeypatch.setattr(sys.modules[__name__], "ROOT", tmp_path)

    def breach(room: str, text: str) -> list[str]:
        path = package / room / "sample.py"
        path.write_text(text, encoding="utf-8")
        return wrongs(path, room)

    assert breach("words", "from benchcheck.checks.kind import CheckKind")
    assert breach("record", "def f():\n    import benchcheck.bench.instruments.meter")
    assert breach("record", "from ..bench import meter")
    assert breach("checks", "from benchcheck import simulator")
    assert breach("checks", "import importlib\nimportlib.import_module('benchcheck.simulator.model')")
    assert breach("simulator", "from benchcheck.checks import kind")
    assert not breach("checks", "from benchcheck.words import step\nfrom benchcheck import __version__")


@pytest.mark.parametrize("command", [["--help"], ["--version"]])
def test_the_program_starts_without_heavy_imports(command: list[str]) -> None:
    """Nor does asking for help load a single command."""
    code = (
        "import sys\n"
        "from benchcheck.cli.main import run\n"
        f"code = run({command!r})\n"
        f"heavy = set(sys.modules) & set({HEAVY!r})\n"
        "ours = {name for name in sys.modules if name.startswith('benchcheck.')}\n"
        "print(sorted(heavy), *sorted(ours), file=sys.stderr)\n"
        "sys.exit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr.split() == [
        "[]",
        *("benchcheck.cli", "benchcheck.cli.main", "benchcheck.words", "benchcheck.words.errors"),
    ]


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_a_command_loads_nothing_heavy(name: str) -> None:
    code = (
        "import sys\n"
        "from benchcheck.cli.main import run\n"
        f"code = run([{name!r}, '--help'])\n"
        f"print(sorted(set(sys.modules) & set({HEAVY!r})), file=sys.stderr)\n"
        "sys.exit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr.strip() == "[]"
    assert f"Usage: benchcheck {name}" in done.stdout


def test_no_workplace_path_in_any_file() -> None:
    """A path of whoever wrote a file is of no use to whoever reads it."""
    home = re.compile(r"(?<![\w.])/(?:work|root|home|Users|tmp)/[\w.]")
    found = []
    for folder in ("benchcheck", "profiles", "captures"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.is_file() and path.suffix in (".py", ".toml", ".csv", ".dbc", ".j2", ".md", ".txt"):
                for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
                    if home.search(line):
                        found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")
    for name in ("README.md", "DEVELOPERS.md", "pyproject.toml"):
        path = ROOT / name
        if path.is_file() and home.search(path.read_text(encoding="utf-8")):
            found.append(name)
    assert found == []
