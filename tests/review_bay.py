"""A second small profile that reviews clean, for the rules that the sample is too small for: four nodes on a CAN bus
(two pass it on), a link both ways, a converter that steps 14 V up to 28 V, described cables. Everything is invented."""

from __future__ import annotations

from benchcheck.harness.reading.read_tables import Database, DatabaseMessage


def _dsub(ref: str, *, doubles: str = "") -> str:
    return (
        f'[[connectors]]\nref = "P{ref}"\nfamily = "dsub9"\ngender = "socket"\nunit = "{ref}"\nunit_connector = "J1"\n'
        f'{doubles}zone = "rack"\n\n'
    )


HARNESS = (
    'schema = 1\ntitle = "Bay"\nchassis = "GND1"\n\n'
    + _dsub("A")
    + _dsub("B", doubles='doubles = ["6", "7"] # B\n')
    + _dsub("C", doubles='doubles = ["6", "7"] # C\n')
    + _dsub("D")
    + """\
[[connectors]]
ref = "P5"
family = "circular"
gender = "socket"
rows = [["A", "B"], ["C", "D"]]
contact_size = "16"
unit = "STEP"
unit_connector = "J1"
zone = "rack"

[[connectors]]
ref = "TB1"
family = "terminals"
rows = [["1", "2", "3", "4"]]
zone = "rack"

[[connectors]]
ref = "GND1"
family = "stud"
zone = "rack"

[[connectors]]
ref = "GND2"
family = "stud"
zone = "rack"

[[connectors]]
ref = "SP1"
family = "splice"

[[connectors]]
ref = "SPH"
family = "splice"

[[connectors]]
ref = "SPL"
family = "splice"

[[units]]
ref = "A"
type = "node"
[[units]]
ref = "B"
type = "node"
[[units]]
ref = "C"
type = "node"
[[units]]
ref = "D"
type = "head"
[[units]]
ref = "STEP"
type = "step"

[[feeds]]
name = "14V"
nominal_v = 14.0
source = "TB1-1"
ground = "TB1-4"
limit_a = 10.0

[[feeds]]
name = "28V"
nominal_v = 28.0
source = "P5-C"
ground = "P5-D"
converter = "STEP"

[[parts]]
ref = "CB1"
kind = "protector"
from = "TB1-1"
to = "TB1-2"
rating_a = 5.0

[[parts]]
ref = "CB2"
kind = "protector"
from = "TB1-1"
to = "TB1-3"
rating_a = 7.5

[[parts]]
ref = "RT1"
kind = "terminator"
from = "PA-6"
to = "PA-7"
ohm = 120.0

[[parts]]
ref = "RT2"
kind = "terminator"
from = "PD-6"
to = "PD-7"
ohm = 120.0

[[buses]]
name = "can1"
bitrate = 250000
nodes = ["A", "B", "C", "D"]
adapter_at = "PD"
network = "net.dbc"

[[links]]
name = "AB"
protocol = "text"
baud = 9600
tap = "PB"
ground = "PB-5"
[[links.talks]]
tx = "PA-3"
rx = "PB-4"
[[links.talks]]
tx = "PB-3"
rx = "PA-4"

[[cables]]
name = "C1"
drained = "one_end"
unshielded_mm = 80
drain_mm = 120
"""
)

PINS = """\
wire,from,to,awg,length_m,role,cable,shield,colour,note
W1,TB1-2,SP1,20,0.5,power,,,,
W2,SP1,PA-1,22,0.5,power,,,,
W3,SP1,PB-1,22,0.5,power,,,,
W4,SP1,PC-1,22,0.5,power,,,,
W5,TB1-3,P5-A,18,0.5,power,,,,
W6,P5-C,PD-1,20,0.5,power,,,,
W7,PA-2,GND1,22,0.5,ground,,,,
W8,PB-2,GND1,22,0.5,ground,,,,
W9,PC-2,GND1,22,0.5,ground,,,,
W10,PD-2,GND1,20,0.5,ground,,,,
W11,P5-B,GND1,18,0.5,ground,,,,
W12,P5-D,GND1,20,0.5,ground,,,,
W13,TB1-4,GND1,16,0.5,ground,,,,
W20,PA-6,PB-6,24,3.0,can_h,C1,S1,,
W21,PA-7,PB-7,24,3.0,can_l,C1,S1,,
S1,PA-ring,,20,3.0,shield,C1,,,
W22,PB-6,PC-6,24,3.0,can_h,C2,,,
W23,PB-7,PC-7,24,3.0,can_l,C2,,,
W24,PC-6,PD-6,24,3.0,can_h,C3,,,
W25,PC-7,PD-7,24,3.0,can_l,C3,,,
W30,PA-3,PB-4,22,2.0,rs232_tx,C4,,,
W31,PA-4,PB-3,22,2.0,rs232_rx,C4,,,
W32,PA-5,PB-5,22,2.0,signal,C4,,,
"""


def _contacts(*rows: str) -> str:
    keys = ("contact", "name", "role", "need")
    text = ""
    for row in rows:
        values, _, more = row.partition("; ")
        pairs = zip(keys, values.split(", "), strict=True)
        text += '[[contacts]]\nconnector = "J1"\n' + "".join(f'{key} = "{value}"\n' for key, value in pairs)
        text += f"{more}\n" if more else ""
    return text


def _unit(title: str, family: str, *rows: str) -> str:
    return (
        f'schema = 1\ntitle = "{title}"\n[[connectors]]\nname = "J1"\nfamily = "{family}"\ngender = "pin"\n'
        + _contacts(*rows)
    )


NODE = _unit(
    "Node",
    "dsub9",
    "1, 14V IN, power, needed; feed_v = 14.0\nload_a = 0.5",
    "2, RETURN, ground, needed",
    '3, TX, rs232_tx, optional; protocol = "text"',
    '4, RX, rs232_rx, optional; protocol = "text"',
    "5, COM, signal, optional",
    "6, CAN-H, can_h, needed",
    "7, CAN-L, can_l, needed",
    "8, MODE, signal, optional",
)
HEAD = _unit(
    "Head",
    "dsub9",
    "1, 28V IN, power, needed; feed_v = 28.0\nload_a = 2.0",
    "2, RETURN, ground, needed",
    '4, RX, rs232_rx, optional; protocol = "text"',
    "6, CAN-H, can_h, needed",
    "7, CAN-L, can_l, needed",
)
STEP = (
    _unit(
        "Step-up converter",
        "circular",
        "A, 14V IN, power, needed; feed_v = 14.0",
        "B, RETURN, ground, needed",
        "C, 28V OUT, power, needed; feed_v = 28.0",
        "D, 28V RETURN, ground, needed",
    )
    + '[[paths]]\nkind = "converter"\na = "J1-A"\nb = "J1-C"\nefficiency = 0.9\n'
)

FILES = {
    "harness.toml": HARNESS,
    "pins.csv": PINS,
    "units/node.toml": NODE,
    "units/head.toml": HEAD,
    "units/step.toml": STEP,
}
DATABASE = Database(
    tuple(DatabaseMessage(0x100 + index, False, f"State{node}", (node,), 0.2, 8) for index, node in enumerate("ABCD"))
)
