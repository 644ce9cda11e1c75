"""What the report tests share: a small harness, its steps, and a job's events as values."""

from __future__ import annotations

from collections.abc import Mapping

from benchcheck.harness.model import Bus, Connector, Feed, Gender, Harness, Role, Run, Unit, UnitType
from benchcheck.words.bench_state import ALL_OPEN, BenchState
from benchcheck.words.event import Event, EventKind
from benchcheck.words.reading import Reading, ReadingState
from benchcheck.words.step import Quantity, Stage, Step
from benchcheck.words.verdict import Band

POWERED = BenchState(breakout=frozenset({"P101"}), supply_on=True)
ALL_IN = BenchState(on_unit=frozenset({"P101", "P102"}), supply_on=True)


def connector(ref: str, unit: str = "") -> Connector:
    return Connector(
        ref, "dsub9", Gender.SOCKET, tuple("123456789"), (tuple("12345"), tuple("6789")), unit, "J1", "rack"
    )


def harness(title: str = "Survey launch, instrument bay") -> Harness:
    unit_type = UnitType("nav", "Navigation processor", {"J1": ("dsub9", Gender.PIN)}, (), boot_s=1.5)
    return Harness(
        name="bay",
        title=title,
        ambient_c=20.0,
        chassis="GND1",
        connectors={ref: connector(ref, "NAV") for ref in ("P101", "P102")},
        runs=(Run("W1", "P101-1", "P102-1", Role.SIGNAL, 22, 2.0), Run("W2", "P101-2", "P102-2", Role.SIGNAL, 22, 2.0)),
        parts=(),
        units={"NAV": Unit("NAV", unit_type, "Navigation processor", {"J1": "P101"})},
        feeds=(Feed("24V main", 24.0, 10.0, "P101-3", "P101-4"),),
        buses=(Bus("can1", 250_000, ("NAV",), "P102"),),
        links=(),
        digest="d" * 64,
    )


def continuity(wire: str, note: str = "") -> Step:
    number = wire[1:]
    contacts = (f"P101-{number}", f"P102-{number}")
    return Step(
        f"continuity:{wire}",
        "continuity",
        Stage.DEAD,
        Quantity.OHMS,
        ALL_OPEN,
        f"does run {wire} go from {contacts[0]} to {contacts[1]}?",
        (wire, *contacts),
        *contacts,
        Band(None, 2.1, "ohm", "computed: AWG 22, 2 m at 20 C"),
        note=note,
    )


def steps() -> tuple[Step, ...]:
    return (
        continuity("W1"),
        continuity("W2"),
        Step(
            "feed_volts:P101-3:P101-4",
            "feed_volts",
            Stage.POWER,
            Quantity.VOLTS,
            POWERED,
            "does NAV get 24 V at P101-3 against P101-4?",
            ("NAV", "P101-3", "P101-4", "24V main"),
            "P101-3",
            "P101-4",
            Band(21.6, 26.4, "V", "profile: 24V main"),
        ),
        Step(
            "unit_heard:can1:NAV",
            "unit_heard",
            Stage.LIVE,
            Quantity.CAN,
            ALL_IN,
            "is NAV heard on can1?",
            ("NAV", "can1"),
        ),
        Step("bus_load:can1", "bus_load", Stage.LIVE, Quantity.CAN, ALL_IN, "is the load in its limit?", ("can1",)),
        Step("bus_errors:can1", "bus_errors", Stage.LIVE, Quantity.CAN, ALL_IN, "no error frames?", ("can1",)),
    )


class Job:
    """Collects events the way a record numbers them."""

    def __init__(self, title: str = "Bay 1", who: str = "Ann Example") -> None:
        self.who = who
        self.events: list[Event] = []
        self.add(EventKind.JOB_STARTED, title=title, profile="profiles/bay", digest="d" * 64, version="0.1")

    def add(self, kind: str, /, *, who: str = "", **body: object) -> Event:
        seq = len(self.events) + 1
        stamp = f"2031-05-04T09:{seq // 60:02d}:{seq % 60:02d}.000000Z"
        event = Event(seq, "c1", str(kind), who or self.who, stamp, seq, "b", "d" * 64, body, "0" * 64, f"{seq:064x}")
        self.events.append(event)
        return event

    def read(
        self,
        step: Step,
        outcome: str,
        value: float | None = None,
        /,
        *,
        text: str = "",
        reason: str = "",
        detail: Mapping[str, object] | None = None,
        **more: object,
    ) -> Event:
        band = step.band
        unit = band.unit if band else "frames"
        reading = (
            Reading(ReadingState.OVER, unit, over_above=4e7, instrument="meter 1")
            if value is None
            else Reading(ReadingState.VALUE, unit, value, 0.3, instrument="meter 1", detail=detail or {})
        )
        body: dict[str, object] = {
            "step": step.id,
            "check": step.check,
            "stage": step.stage.value,
            "question": step.question,
            "subject": list(step.subject),
            "red": step.red,
            "black": step.black,
            "band": None
            if band is None
            else {"low": band.low, "high": band.high, "unit": band.unit, "source": band.source},
            "state": step.state.to_json(),
            "reading": reading.to_json(),
            "verdict": {"outcome": outcome, "reason": reason, "text": text},
            "note": step.note,
            "follow_up": False,
        }
        return self.add(EventKind.READING, **(body | more))

    def squawk(self, step: Step, kind: str = "open_run", text: str = "W1 is open") -> Event:
        where = [step.subject[0]]
        return self.add(
            EventKind.SQUAWK_OPENED,
            id=f"{kind}:{where[0]}",
            kind=kind,
            where=where,
            stage=step.stage.value,
            text=text,
            steps=[step.id],
            readings=[{"value": 1.0}],
        )

    def all_pass(self) -> None:
        for step in steps():
            detail: dict[str, object] = {}
            if step.check == "unit_heard":
                detail = {"state": "present", "first_s": 0.8, "max_gap_s": 0.2, "verdict": "PASS", "text": "heard"}
            if step.check == "bus_load":
                detail = {
                    "load_mean_percent": 20.5,
                    "load_peak_percent": 22.0,
                    "frames": 900,
                    "load_by_second_percent": [20.0, 22.0, 19.5],
                }
            value = {"dead": 0.2, "power": 24.1, "live": 0.0}[step.stage.value]
            self.read(step, "PASS", value, detail=detail)
