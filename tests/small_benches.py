"""Small harnesses for the simulator's tests, written directly as values."""

from __future__ import annotations

from dataclasses import replace

from benchcheck.harness.model import (
    Bus,
    Connector,
    Feed,
    Gender,
    Harness,
    Link,
    Message,
    Need,
    Part,
    PartKind,
    PathKind,
    Role,
    Run,
    Talk,
    Unit,
    UnitContact,
    UnitPath,
    UnitType,
)
from benchcheck.words.bench_state import BenchState


def connector(ref: str, count: int, unit: str = "", own: str = "J1", **more: object) -> Connector:
    pins = tuple(str(number) for number in range(1, count + 1))
    half = (count + 1) // 2
    rows = (pins[:half], pins[half:])
    family = {9: "dsub9", 15: "dsub15", 25: "dsub25"}.get(count, "terminals")
    return Connector(ref, family, Gender.SOCKET, pins, rows, unit, own if unit else "", **more)  # type: ignore[arg-type]


def stud(ref: str) -> Connector:
    return Connector(ref, "stud", Gender.NONE, (ref,), ((ref,),), has_shell=False)


def run(wire: str, a: str, b: str, role: Role = Role.SIGNAL, length_m: float = 1.0, awg: int | None = 22) -> Run:
    return Run(wire, a, b, role, awg, length_m)


def unit_type(
    name: str,
    contacts: dict[str, tuple[Role, float | None, float]],
    paths: tuple[UnitPath, ...] = (),
    boot_s: float = 1.0,
) -> UnitType:
    """Contacts of J1 as {contact: (role, feed volts, load amperes)}."""
    entries = tuple(UnitContact("J1", c, c, role, Need.NEEDED, v, a) for c, (role, v, a) in contacts.items())
    return UnitType(name, name, {"J1": ("dsub9", Gender.PIN)}, entries, paths, boot_s)


def harness(**parts: object) -> Harness:
    base = Harness("test", "test", 20.0, "GND1", {}, (), (), {}, (), (), ())
    return replace(base, **parts)  # type: ignore[arg-type]


def talker(ref: str, extra: tuple[UnitPath, ...] = ()) -> Unit:
    """A 24 V unit: 1 power, 2 ground, 3 and 4 CAN in, 5 and 6 CAN out, 7 TX, 8 RX."""
    contacts = {
        "1": (Role.POWER, 24.0, 0.5),
        "2": (Role.GROUND, None, 0.0),
        "3": (Role.CAN_H, None, 0.0),
        "4": (Role.CAN_L, None, 0.0),
        "5": (Role.CAN_H, None, 0.0),
        "6": (Role.CAN_L, None, 0.0),
        "7": (Role.RS232_TX, None, 0.0),
        "8": (Role.RS232_RX, None, 0.0),
    }
    through = (UnitPath(PathKind.THROUGH, "J1-3", "J1-5", 0.02), UnitPath(PathKind.THROUGH, "J1-4", "J1-6", 0.02))
    return Unit(ref, unit_type(ref, contacts, through + extra), ref, {"J1": f"P{ref[1:]}"}, ref)


def chain() -> Harness:
    """Three units U1 U2 U3 fed from P100 over protector CB1, a CAN chain P9 - P1 - P2 - P3 with its terminators
    at P9 and at P3, the adapter at P9, and a link between U1 and U2 that is tapped at P2."""
    refs = ("1", "2", "3")
    connectors = {f"P{n}": connector(f"P{n}", 9, f"U{n}") for n in refs}
    connectors["P9"] = connector("P9", 9)
    connectors["P100"] = connector("P100", 2, has_shell=False)
    connectors["CB1"] = connector("CB1", 2, has_shell=False)
    connectors["GND1"] = stud("GND1")
    runs = [run("W1", "P100-1", "CB1-1", Role.POWER), run("W2", "P100-2", "GND1", Role.GROUND)]
    for n in refs:
        runs += [run(f"W1{n}", f"P{n}-1", "CB1-2", Role.POWER), run(f"W2{n}", f"P{n}-2", "GND1", Role.GROUND)]
    for number, (a, b) in enumerate((("P9", "P1"), ("P1", "P2"), ("P2", "P3"))):
        high, low = ("1", "2") if a == "P9" else ("5", "6")
        runs += [
            run(f"W3{number}", f"{a}-{high}", f"{b}-3", Role.CAN_H, 2.0),
            run(f"W4{number}", f"{a}-{low}", f"{b}-4", Role.CAN_L, 2.0),
        ]
    runs += [run("W51", "P1-7", "P2-8", Role.RS232_TX), run("W52", "P2-7", "P1-8", Role.RS232_TX)]
    runs += [Run("S1", "P1-ring", "P2-9", Role.SHIELD, None, 1.0), Run("B1", "P9-8", "P9-9", Role.BRIDGE)]
    messages = tuple(Message(0x100 + int(n), False, f"M{n}", f"U{n}", 0.1) for n in refs)
    messages += (Message(0x18FF0001, True, "X", "U1", 0.5, 4),)
    return harness(
        connectors=connectors,
        runs=tuple(runs),
        parts=(
            Part("CB1", PartKind.PROTECTOR, "CB1-1", "CB1-2", 0.02),
            Part("RT1", PartKind.TERMINATOR, "P9-1", "P9-2", 120.0),
            Part("RT2", PartKind.TERMINATOR, "P3-5", "P3-6", 120.0),
        ),
        units={f"U{n}": talker(f"U{n}") for n in refs},
        feeds=(Feed("24V", 24.0, 10.0, "P100-1", "P100-2", limit_a=5.0),),
        buses=(Bus("can1", 250_000, ("U1", "U2", "U3"), "P9", messages),),
        links=(
            Link(
                "link",
                "nmea0183",
                4800,
                (
                    Talk("P1-7", "P2-8", "U1", ("GPGGA", "GPZDA"), 0.5),
                    Talk("P2-7", "P1-8", "U2", ("SDDBT",), 0.5),
                ),
                "P2-2",
                "P2",
            ),
        ),
    )


ALL_IN = BenchState(on_unit=frozenset({"P1", "P2", "P3"}), breakout=frozenset({"P1", "P2", "P3"}))
