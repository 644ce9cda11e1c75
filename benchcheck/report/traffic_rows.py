"""Units, buses and lines as rows of the report, from the live stage's steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchcheck.harness.model import Harness
from benchcheck.report import pick
from benchcheck.report.model import BusRow, LineRow, StepRow, UnitRow, Word

UNIT_HEARD = "unit_heard"
BUS_LOAD = "bus_load"
BUS_ERRORS = "bus_errors"
BUS_STRANGERS = "bus_strangers"
LINK_ALIVE = "link_alive"


def unit_rows(rows: Sequence[StepRow], harness: Harness | None) -> tuple[UnitRow, ...]:
    """One row for each unit that a bus should carry, in plan order."""
    found = []
    for row in rows:
        if row.check != UNIT_HEARD:
            continue
        detail = row.detail or {}
        unit = row.subject[0] if row.subject else row.id
        known = harness.units.get(unit) if harness is not None else None
        period = pick.number(detail, "mean_period_s")
        found.append(
            UnitRow(
                unit=unit,
                bus=row.subject[1] if len(row.subject) > 1 else "",
                word=row.word,
                state=pick.text(detail, "state") or row.reason,
                first_s=pick.number(detail, "first_s"),
                boot_s=known.type.boot_s if known is not None else None,
                period_s=pick.number(detail, "period_s") if period is None else period,
                max_gap_s=pick.number(detail, "max_gap_s"),
                text=row.text,
            )
        )
    return tuple(found)


def bus_rows(rows: Sequence[StepRow], harness: Harness | None) -> tuple[BusRow, ...]:
    """One row for each bus that was listened to or should be."""
    by_bus: dict[str, dict[str, StepRow]] = {}
    for row in rows:
        if row.check in (BUS_LOAD, BUS_ERRORS, BUS_STRANGERS) and row.subject:
            by_bus.setdefault(row.subject[-1], {})[row.check] = row
    bitrates = {bus.name: bus.bitrate for bus in harness.buses} if harness is not None else {}
    found = []
    for bus, steps in by_bus.items():
        load = steps.get(BUS_LOAD)
        detail = (load.detail or {}) if load is not None else {}
        errors = steps.get(BUS_ERRORS)
        strangers = steps.get(BUS_STRANGERS)
        found.append(
            BusRow(
                bus=bus,
                bitrate=bitrates.get(bus),
                frames=_whole(detail, "frames"),
                load_mean_percent=pick.number(detail, "load_mean_percent"),
                load_peak_percent=pick.number(detail, "load_peak_percent"),
                load_limit_percent=load.high if load is not None else None,
                load_by_second=_seconds(detail),
                errors=_errors(errors),
                strangers=pick.texts((strangers.detail or {}) if strangers is not None else {}, "identifiers"),
                words={check: row.word for check, row in steps.items()},
            )
        )
    return tuple(found)


def line_rows(rows: Sequence[StepRow]) -> tuple[LineRow, ...]:
    """One row for each talker of each serial line."""
    found = []
    for row in rows:
        if row.check != LINK_ALIVE:
            continue
        detail = row.detail or {}
        sentences, types = pick.table(detail, "sentences"), pick.table(detail, "types")
        names = (*row.subject, "", "", "")
        heard = _whole(sentences, "good"), _whole(sentences, "no_checksum")
        found.append(
            LineRow(
                link=names[0],
                unit=names[1],
                contact=names[2],
                word=row.word,
                bytes=_whole(detail, "bytes"),
                good=None if heard == (None, None) else sum(count or 0 for count in heard),
                bad=_whole(sentences, "bad_checksum"),
                types=tuple((name, _whole(types, name) or 0) for name in sorted(types)),
                text=row.text,
            )
        )
    return tuple(found)


def _whole(body: Mapping[str, object], key: str) -> int | None:
    value = pick.number(body, key)
    return None if value is None else int(value)


def _seconds(detail: Mapping[str, object]) -> tuple[float, ...]:
    listed = pick.entries(detail, "load_by_second_percent")
    return tuple(value if (value := pick.number({"": entry}, "")) is not None else 0.0 for entry in listed)


def _errors(row: StepRow | None) -> str:
    if row is None or row.word in (Word.TO_DO, Word.STALE, Word.SKIPPED):
        return "not looked for"
    if row.value is not None:
        return f"{row.value:g}"
    return pick.text(row.detail or {}, "why") or row.text or "not known"
