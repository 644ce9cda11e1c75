"""Where the description of the bench is looked for: named, beside the profile, in the user's folder, or nothing."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.words.errors import InputError, UsageError

if TYPE_CHECKING:
    from benchcheck.bench.config import BenchConfig, CanPort

BENCH_FILE = "bench.toml"
_LARGEST = 1_000_000


def find_bench(named: Path | None, profile: Path) -> tuple[BenchConfig, str]:
    """The bench, and in words where it came from.

    `named` (a file, TOML or JSON as `benchcheck simulate` prints it) wins; then bench.toml beside the profile, then
    the one in the user's configuration folder. Without any, it is a bench where everything is done by hand.
    Raises InputError or FaultyFiles for a file that can't be used.
    """
    from benchcheck.bench.config import BenchConfig

    if named is not None:
        return _checked(_read(named)), str(named)
    for path in (profile / BENCH_FILE, user_bench_file()):
        if path.is_file():
            return _checked(_read(path)), str(path)
    return BenchConfig(name="bench by hand"), f"no {BENCH_FILE}: readings are typed in, the supply is switched by hand"


def can_port_of(config: BenchConfig, source: str, bus: str) -> CanPort:
    """The CAN adapter that the bench has for a bus. UsageError where it has none; `source` is where that was looked up."""
    for port in config.can:
        if port.bus == bus:
            return port
    known = ", ".join(port.bus for port in config.can) or "none"
    raise UsageError(f"this bench has no CAN adapter for {bus}", where=source, hint=f"It has {known}.")


def user_bench_file() -> Path:
    """bench.toml in the user's configuration folder; nothing is created by asking."""
    from platformdirs import user_config_path

    return user_config_path("benchcheck", appauthor=False) / BENCH_FILE


def _checked(config: BenchConfig) -> BenchConfig:
    """The bench with what is kept of it: the self-checks of its breakout leads, and which adapters were proved silent."""
    from benchcheck.cli.lead_checks import checks_file, read_checks, with_checks
    from benchcheck.cli.silence_proofs import proofs_file, read_proofs, with_proofs

    if config.breakouts:
        config = with_checks(config, read_checks(checks_file()))
    return with_proofs(config, read_proofs(proofs_file())) if config.can else config


def _read(path: Path) -> BenchConfig:
    from benchcheck.bench.config import config_from_mapping, config_from_toml

    try:
        if path.stat().st_size > _LARGEST:
            raise InputError("this is too large to describe a bench", where=str(path))
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"can't be read: {error.strerror}", where=str(path), hint="Name it with --bench.") from error
    except UnicodeDecodeError as error:
        raise InputError("this is not text", where=str(path), hint="Write it as UTF-8.") from error
    if not text.lstrip().startswith("{"):
        return config_from_toml(text, str(path))
    try:
        values = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"this is not JSON: {error}",
            where=str(path),
            hint="Save the one line that `benchcheck simulate` prints, or write TOML.",
        ) from error
    return config_from_mapping(values, source=str(path))
