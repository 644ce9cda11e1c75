"""Harnesses of any size, made up from a seed: plausible, sound on paper, for benchmarks and property tests.

    write(folder, runs=2000, connectors=100, seed=1)     a profile folder that `load_profile` reads
    made(runs=2000, connectors=100, seed=1)              the Harness itself
    make(runs=2000, connectors=100, seed=1)              the texts of harness.toml and pins.csv

The same arguments give the same harness, always. It is a bay of zones: each has a ground stud; a supply that comes from
a strip in the first zone through a protector to a splice and from there to the units; nodes in a CAN chain (a shielded pair from one to the next,
terminators switched on by bridges at both ends), some of them joined two by two by RS-232; racks with two connectors
each and panel connectors, joined by cables of several cores, shielded or not, drained at one end. Everything is invented.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchcheck.harness.connector.families import FAMILIES
from benchcheck.harness.model import Harness
from benchcheck.harness.reading.read_harness import read_harness

NODE = "maker_node"
# families of racks and panels, small to large
WIDE = ("dsub9", "dsub15", "dsub25", "dsub37", "dsub50", "hd62", "hd78")
HEADER = "wire,from,to,awg,length_m,role,cable,shield,colour,note"
STRIP = "TB1"
FULLEST = 0.9  # of the contacts of the wide connectors


def write(folder: Path, runs: int, connectors: int, seed: int) -> Path:
    """The profile as a folder, unit types in it; the folder is made."""
    harness, pins = make(runs, connectors, seed)
    units = folder / "units"
    units.mkdir(parents=True)
    (folder / "harness.toml").write_text(harness, encoding="utf-8")
    (folder / "pins.csv").write_text(pins, encoding="utf-8")
    for name, text in unit_texts().items():
        (units / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def made(runs: int, connectors: int, seed: int) -> Harness:
    """The harness, read from the texts without any file."""
    harness, pins = make(runs, connectors, seed)
    units = {f"units/{name}.toml": text for name, text in unit_texts().items()}
    return read_harness(f"made_{runs}_{connectors}_{seed}", {"harness.toml": harness, "pins.csv": pins, **units})


def make(runs: int, connectors: int, seed: int) -> tuple[str, str]:
    """The texts of harness.toml and pins.csv with exactly that many rows, and connectors (studs and splices counted).

    At least 8 connectors; ValueError where the runs are too few for them, or too many for the largest families.
    """
    maker = _Maker(random.Random(f"harness {runs} {connectors} {seed}"), runs, connectors)
    maker.lay_out()
    maker.supply()
    maker.chains()
    maker.links()
    maker.cables()
    return maker.harness_toml(), maker.pins_csv()


def unit_texts() -> Mapping[str, str]:
    """Name -> text of each unit type that a made harness may refer to."""
    return {NODE: _node_text(), **{f"maker_rack_{family}": _rack_text(family) for family in WIDE}}


def _node_text() -> str:
    rows = [
        ("1", "24V IN", "power", "needed", "feed_v = 24.0\nload_a = 0.05\n"),
        ("2", "24V RETURN", "ground", "needed", ""),
        ("3", "DATA OUT", "rs232_tx", "optional", 'protocol = "text"\n'),
        ("4", "DATA IN", "rs232_rx", "optional", 'protocol = "text"\n'),
        ("5", "SIGNAL GROUND", "signal", "optional", ""),
        ("6", "CAN H", "can_h", "needed", ""),
        ("7", "CAN L", "can_l", "needed", ""),
        ("8", "TERMINATOR ON A", "bridge", "optional", ""),
        ("9", "TERMINATOR ON B", "bridge", "optional", ""),
    ]
    paths = (
        '[[paths]]\nkind = "terminator"\na = "J1-6"\nb = "J1-7"\nohm = 120.0\nenabled_by = ["J1-8", "J1-9"]\n'
        '[[paths]]\nkind = "input"\na = "J1-4"\nb = "J1-5"\nohm = 5000.0\n'
        '[[paths]]\nkind = "through"\na = "J1-5"\nb = "J1-2"\nohm = 0.1\n'
    )
    return _unit_head("Node", {"J1": "dsub9"}) + "".join(_unit_contact("J1", *row) for row in rows) + paths


def _rack_text(family: str) -> str:
    pins = FAMILIES[family].contacts
    text = _unit_head(f"Rack, two {family}", {"J1": family, "J2": family})
    text += _unit_contact("J1", pins[0], "24V IN", "power", "needed", "feed_v = 24.0\nload_a = 0.05\n")
    text += _unit_contact("J1", pins[1], "24V RETURN", "ground", "needed", "")
    for own, first in (("J1", 2), ("J2", 0)):
        for pin in pins[first:]:
            text += _unit_contact(own, pin, f"SIGNAL {own} {pin}", "signal", "optional", "")
    return text


def _unit_head(title: str, connectors: Mapping[str, str]) -> str:
    text = f'schema = 1\ntitle = "{title}"\nboot_s = 1.0\n'
    for own, family in connectors.items():
        text += f'[[connectors]]\nname = "{own}"\nfamily = "{family}"\ngender = "pin"\n'
    return text


def _unit_contact(own: str, pin: str, name: str, role: str, need: str, more: str) -> str:
    return f'[[contacts]]\nconnector = "{own}"\ncontact = "{pin}"\nname = "{name}"\nrole = "{role}"\nneed = "{need}"\n{more}'


@dataclass(slots=True)
class _Zone:
    name: str
    stud: str
    splice: str  # where the supply of the zone is shared out
    nodes: list[str] = field(default_factory=list)  # connectors of the nodes, in cable order
    racks: list[str] = field(default_factory=list)  # first connectors of the racks
    wide: list[str] = field(default_factory=list)  # every rack and panel connector


@dataclass(slots=True)
class _Maker:
    random: random.Random
    runs: int
    connectors: int
    toml: list[str] = field(default_factory=list)
    tail: list[str] = field(default_factory=list)  # tables that follow the connectors
    rows: list[str] = field(default_factory=list)
    zones: list[_Zone] = field(default_factory=list)
    free: dict[str, list[str]] = field(default_factory=dict)  # wide connector -> contacts without a run yet
    unit_of: dict[str, str] = field(default_factory=dict)
    doubles: dict[str, tuple[str, ...]] = field(default_factory=dict)
    cable_count: int = 0

    # --- connectors and units --------------------------------------------------------------------------------------

    def lay_out(self) -> None:
        """Zones, and what is in them; the wide connectors get a family that the runs just fill."""
        if self.connectors < 8:
            raise ValueError("a made harness has at least 8 connectors")
        count = max(1, round(self.connectors / 25))
        for number in range(1, count + 1):
            self.zones.append(_Zone(f"zone {number}", f"GND{number}", f"SP{number}"))
        left = self.connectors - 2 * count - 1
        nodes = max(2 * count, left // 6)
        wide = left - nodes
        if wide < 2:
            raise ValueError("too few connectors for their zones")
        for number in range(nodes):
            # at least two to a zone: a chain has two ends
            zone = self.zones[number // 2 if number < 2 * count else self.random.randrange(count)]
            zone.nodes.append(f"P{100 + number}")
        number = 100 + nodes
        turn = 0
        while wide:
            zone = self.zones[turn % count]
            turn += 1
            if wide >= 2 and self.random.random() < 0.7:
                zone.racks.append(f"P{number}")
                zone.wide += [f"P{number}", f"P{number + 1}"]
                number, wide = number + 2, wide - 2
            else:
                zone.wide.append(f"P{number}")
                number, wide = number + 1, wide - 1
        family = self._family()
        for zone in self.zones:
            self._connectors_of(zone, family)

    def _family(self) -> str:
        wide = sum(len(zone.wide) for zone in self.zones)
        fixed = self._fixed_rows()
        if self.runs < fixed:
            raise ValueError(f"{self.connectors} connectors need at least {fixed} runs")
        ends = 2 * (self.runs - fixed) / wide + 2
        for family in WIDE:
            if ends <= FULLEST * len(FAMILIES[family].contacts):
                return family
        raise ValueError(f"{self.connectors} connectors can't take {self.runs} runs")

    def _fixed_rows(self) -> int:
        """Rows of supply, ground and CAN, which come first."""
        rows = 0
        for zone in self.zones:
            rows += 2 + 2 * (len(zone.nodes) + len(zone.racks)) + 3 * (len(zone.nodes) - 1) + 2
        return rows

    def _connectors_of(self, zone: _Zone, family: str) -> None:
        def table(**keys: object) -> None:
            self.toml.append("[[connectors]]\n" + "".join(f"{key} = {_toml(value)}\n" for key, value in keys.items()))

        table(ref=zone.stud, family="stud", zone=zone.name)
        if zone is self.zones[0]:
            # 1 and 2 take the supply in, 3 is the bar behind 1, the rest are the protected side, one for each zone
            rows = [[str(number) for number in range(1, len(self.zones) + 4)]]
            table(ref=STRIP, family="terminals", rows=rows, zone=zone.name)
        table(ref=zone.splice, family="splice", zone=zone.name)
        for index, ref in enumerate(zone.nodes):
            inner = 0 < index < len(zone.nodes) - 1
            table(
                ref=ref,
                family="dsub9",
                gender="socket",
                unit=f"NODE{ref[1:]}",
                unit_connector="J1",
                doubles=["6", "7"] if inner else [],
                zone=zone.name,
            )
            self._unit(f"NODE{ref[1:]}", NODE)
            self.unit_of[ref] = f"NODE{ref[1:]}"
        for ref in zone.wide:
            self.free[ref] = list(FAMILIES[family].contacts)
            own = ""
            if ref in zone.racks:
                own = "J1"
                self._unit(f"RACK{ref[1:]}", f"maker_rack_{family}")
                self.unit_of[ref] = self.unit_of[f"P{int(ref[1:]) + 1}"] = f"RACK{ref[1:]}"
                self.free[ref] = self.free[ref][2:]
            elif ref in self.unit_of:
                own = "J2"
            more = {"unit": self.unit_of[ref], "unit_connector": own} if own else {}
            table(ref=ref, family=family, gender="socket", **more, zone=zone.name)

    def _unit(self, ref: str, kind: str) -> None:
        self.tail.append(f'[[units]]\nref = "{ref}"\ntype = "{kind}"\n')

    # --- runs ------------------------------------------------------------------------------------------------------

    def _run(
        self, a: str, b: str, role: str, awg: int, length_m: float, *, cable: str = "", shield: str = "", wire: str = ""
    ) -> None:
        wire = wire or f"W{len(self.rows) + 1}"
        self.rows.append(f"{wire},{a},{b},{awg},{length_m:.1f},{role},{cable},{shield},,")

    def _cable(self) -> tuple[str, str]:
        """Names of the next cable and of its shield."""
        self.cable_count += 1
        return f"C{self.cable_count}", f"S{self.cable_count}"

    def _length(self, a: _Zone, b: _Zone) -> float:
        apart = abs(self.zones.index(a) - self.zones.index(b))
        return round(0.5 + 2.0 * min(apart, 4) + 1.5 * self.random.random(), 1)

    def supply(self) -> None:
        """24 V in at the strip, through a protector to each zone's splice and its units; grounds to the zone's stud."""
        first = self.zones[0]
        self._run(f"{STRIP}-1", f"{STRIP}-3", "power", 8, 0.2)
        self._run(f"{STRIP}-2", first.stud, "ground", 8, 0.4)
        for number, zone in enumerate(self.zones, 1):
            protected = f"{STRIP}-{number + 3}"
            self._run(protected, zone.splice, "power", 12, self._length(first, zone))
            if zone is not first:
                self._run(first.stud, zone.stud, "ground", 12, self._length(first, zone))
            self.tail.append(
                f'[[parts]]\nref = "CB{number}"\nkind = "protector"\nfrom = "{STRIP}-3"\nto = "{protected}"\n'
                "ohm = 0.02\nrating_a = 4.0\n"
            )
            for ref in (*zone.nodes, *zone.racks):
                self._run(zone.splice, f"{ref}-1", "power", 22, self._length(zone, zone))
                self._run(f"{ref}-2", zone.stud, "ground", 22, self._length(zone, zone))
        self.tail.append(
            f'[[feeds]]\nname = "24V main"\nnominal_v = 24.0\nsource = "{STRIP}-1"\nground = "{STRIP}-2"\nlimit_a = 40.0\n'
        )

    def chains(self) -> None:
        """A CAN bus a zone: a shielded pair from node to node, bridges at both ends."""
        for number, zone in enumerate(self.zones, 1):
            for a, b in zip(zone.nodes, zone.nodes[1:], strict=False):
                cable, shield = self._cable()
                length = self._length(zone, zone)
                self._run(f"{a}-6", f"{b}-6", "can_h", 24, length, cable=cable, shield=shield)
                self._run(f"{a}-7", f"{b}-7", "can_l", 24, length, cable=cable, shield=shield)
                self._run(f"{a}-ring", "", "shield", 22, 0.1, cable=cable, wire=shield)
            for ref in (zone.nodes[0], zone.nodes[-1]):
                self._run(f"{ref}-8", f"{ref}-9", "bridge", 22, 0.1)
            names = ", ".join(f'"{self.unit_of[ref]}"' for ref in zone.nodes)
            self.tail.append(
                f'[[buses]]\nname = "can{number}"\nbitrate = 250000\nnodes = [{names}]\nadapter_at = "{zone.nodes[-1]}"\n'
            )

    def links(self) -> None:
        """RS-232 between some of the neighbours in a zone, both ways with a ground of its own."""
        for zone in self.zones:
            for a, b in zip(zone.nodes[::2], zone.nodes[1::2], strict=False):
                if self.runs - len(self.rows) < 3 or self.random.random() < 0.4:
                    continue
                cable, _ = self._cable()
                length = self._length(zone, zone)
                self._run(f"{a}-3", f"{b}-4", "rs232_tx", 22, length, cable=cable)
                self._run(f"{a}-4", f"{b}-3", "rs232_rx", 22, length, cable=cable)
                self._run(f"{a}-5", f"{b}-5", "signal", 22, length, cable=cable)
                talks = "".join(f'[[links.talks]]\ntx = "{x}-3"\nrx = "{y}-4"\n' for x, y in ((a, b), (b, a)))
                self.tail.append(
                    f'[[links]]\nname = "{a} {b}"\nprotocol = "text"\nbaud = 9600\ntap = "{b}"\nground = "{b}-5"\n{talks}'
                )

    def cables(self) -> None:
        """The rest: cables of several cores between wide connectors, most of them within a zone or to the next."""
        wide = [(ref, zone) for zone in self.zones for ref in zone.wide]
        while (left := self.runs - len(self.rows)) > 0:
            a, zone = self._with_room(wide)
            b, other = self._partner(wide, a, zone)
            cores = min(left, self.random.choice((1, 2, 2, 3, 4, 4, 6, 8, 12)), len(self.free[a]), len(self.free[b]))
            length = self._length(zone, other)
            if cores < 2 or left <= cores:
                for _ in range(cores):
                    self._run(self._take(a), self._take(b), "signal", 22, length)
                continue
            cable, shield = self._cable()
            shielded = self.random.random() < 0.6
            for _ in range(cores):
                self._run(
                    self._take(a), self._take(b), "signal", 22, length, cable=cable, shield=shield if shielded else ""
                )
            if shielded:
                self._run(f"{a}-ring", "", "shield", 22, 0.1, cable=cable, wire=shield)

    def _with_room(self, wide: Sequence[tuple[str, _Zone]]) -> tuple[str, _Zone]:
        for _ in range(4):
            found = self.random.choice(wide)
            if self.free[found[0]]:
                return found
        return max(wide, key=lambda entry: len(self.free[entry[0]]))

    def _partner(self, wide: Sequence[tuple[str, _Zone]], a: str, zone: _Zone) -> tuple[str, _Zone]:
        near = zone
        if self.random.random() < 0.35:
            near = self.zones[(self.zones.index(zone) + self.random.choice((-1, 1))) % len(self.zones)]
        others = [ref for ref in near.wide if ref != a and self.free[ref]]
        if others:
            return self.random.choice(others), near
        return max((entry for entry in wide if entry[0] != a), key=lambda entry: len(self.free[entry[0]]))

    def _take(self, ref: str) -> str:
        """A contact of a connector that has no run yet: mostly the next, so that cores of a cable lie together."""
        free = self.free[ref]
        return f"{ref}-{free.pop(0 if self.random.random() < 0.8 else self.random.randrange(len(free)))}"

    # --- texts -----------------------------------------------------------------------------------------------------

    def harness_toml(self) -> str:
        head = 'schema = 1\ntitle = "Made harness"\nambient_c = 20.0\nchassis = "GND1"\n'
        return head + "".join(self.toml) + "".join(self.tail)

    def pins_csv(self) -> str:
        return "\n".join([HEADER, *self.rows]) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(entry) for entry in value) + "]"
    return f'"{value}"'
