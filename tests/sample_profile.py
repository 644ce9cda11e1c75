"""A small profile as texts, right in every way, for tests to break in one place at a time.

Three units (a converter makes 12 V from 24 V), a CAN pair with its terminators, one RS-232 link, a shield,
a bridge, a splice, a circular connector.
"""

from __future__ import annotations

from collections.abc import Mapping

from benchcheck.harness.model import Harness
from benchcheck.harness.reading.read_harness import read_harness
from benchcheck.harness.reading.read_tables import Database, DatabaseMessage
from benchcheck.words.errors import FaultyFiles, FileFault

HARNESS = """\
schema = 1
title = "Sample"
ambient_c = 20.0
chassis = "GND1"

[[connectors]]
ref = "P1"
family = "dsub9"
gender = "socket"
unit = "NAV"
unit_connector = "J1"
zone = "left"

[[connectors]]
ref = "P2"
family = "dsub15"
gender = "pin"
unit = "LOG"
unit_connector = "J1"
zone = "right"

[[connectors]]
ref = "P3"
family = "circular"
gender = "socket"
rows = [["A", "B"], ["C", "D"]]
unit = "CONV"
unit_connector = "J1"
zone = "right"

[[connectors]]
ref = "TB1"
family = "terminals"
rows = [["1", "2", "3", "4"]]
doubles = ["2"]
zone = "right"

[[connectors]]
ref = "GND1"
family = "stud"
zone = "right"

[[connectors]]
ref = "SP1"
family = "splice"

[[units]]
ref = "NAV"
type = "nav"

[[units]]
ref = "LOG"
type = "log"
node = "LOGGER"

[[units]]
ref = "CONV"
type = "conv"

[[feeds]]
name = "24V"
nominal_v = 24.0
source = "TB1-1"
ground = "TB1-4"

[[feeds]]
name = "12V"
nominal_v = 12.0
source = "P3-C"
ground = "P3-D"
converter = "CONV"

[[parts]]
ref = "CB1"
kind = "protector"
from = "TB1-1"
to = "TB1-2"
ohm = 0.02
rating_a = 5.0

[[parts]]
ref = "RT1"
kind = "terminator"
from = "P1-6"
to = "P1-7"
ohm = 120.0

[[buses]]
name = "can1"
bitrate = 250000
nodes = ["NAV", "LOG"]
adapter_at = "P2"
network = "net.dbc"

[[links]]
name = "position"
protocol = "nmea0183"
baud = 4800
tap = "P2"
ground = "P2-8"
[[links.talks]]
tx = "P1-3"
rx = "P2-7"
types = ["GPGGA"]

[closeout]
dsub9 = ["clamp"]
"""

PINS = """\
wire,from,to,awg,length_m,role,cable,shield,colour,note
W1,TB1-2,P1-1,22,1.2,power,,,red,
W2,TB1-2,P3-A,20,0.8,power,,,red,
W3,P1-2,GND1,22,1.2,ground,,,black,
W4,P3-B,GND1,20,0.8,ground,,,black,
W5,TB1-4,GND1,18,0.4,ground,,,black,
W6,P1-6,P2-4,22,1.5,can_h,C1,S1,white,
W7,P1-7,P2-5,22,1.5,can_l,C1,S1,blue,
S1,P2-ring,,22,0.1,shield,C1,,,
W8,P1-3,P2-7,22,1.5,rs232_tx,,,yellow,
W9,P1-5,P2-8,22,1.5,signal,,,grey,
W10,P3-C,SP1,20,0.5,power,,,red,
W11,SP1,P2-1,20,0.5,power,,,red,
W12,P3-D,P2-9,20,1.0,ground,,,black,
B1,P2-10,P2-11,22,0.05,bridge,,,white,
"""

NAV = """\
schema = 1
title = "Navigator"
[[connectors]]
name = "J1"
family = "dsub9"
gender = "pin"
[[contacts]]
connector = "J1"
contact = "1"
name = "24V IN"
role = "power"
feed_v = 24.0
load_a = 0.5
[[contacts]]
connector = "J1"
contact = "2"
role = "ground"
[[contacts]]
connector = "J1"
contact = "3"
name = "NMEA OUT"
role = "rs232_tx"
[[contacts]]
connector = "J1"
contact = "4"
role = "rs232_rx"
need = "optional"
[[contacts]]
connector = "J1"
contact = "5"
role = "signal"
[[contacts]]
connector = "J1"
contact = "6"
role = "can_h"
[[contacts]]
connector = "J1"
contact = "7"
role = "can_l"
[[contacts]]
connector = "J1"
contact = "8"
role = "signal"
need = "unused"
"""

LOG = """\
schema = 1
title = "Logger"
[[connectors]]
name = "J1"
family = "dsub15"
gender = "socket"
[[contacts]]
connector = "J1"
contact = "1"
role = "power"
feed_v = 12.0
load_a = 1.0
[[contacts]]
connector = "J1"
contact = "9"
role = "ground"
[[contacts]]
connector = "J1"
contact = "4"
role = "can_h"
[[contacts]]
connector = "J1"
contact = "5"
role = "can_l"
[[contacts]]
connector = "J1"
contact = "6"
role = "rs232_tx"
need = "optional"
[[contacts]]
connector = "J1"
contact = "7"
role = "rs232_rx"
[[contacts]]
connector = "J1"
contact = "8"
role = "signal"
[[contacts]]
connector = "J1"
contact = "10"
role = "bridge"
[[contacts]]
connector = "J1"
contact = "11"
role = "bridge"
[[contacts]]
connector = "J1"
contact = "12"
role = "signal"
need = "optional"
[[contacts]]
connector = "J1"
contact = "13"
role = "signal"
need = "optional"
[[paths]]
kind = "terminator"
a = "J1-4"
b = "J1-5"
ohm = 120.0
enabled_by = ["J1-10", "J1-11"]
"""

CONV = """\
schema = 1
title = "Converter"
[[connectors]]
name = "J1"
family = "circular"
gender = "pin"
[[contacts]]
connector = "J1"
contact = "A"
role = "power"
feed_v = 24.0
[[contacts]]
connector = "J1"
contact = "B"
role = "ground"
[[contacts]]
connector = "J1"
contact = "C"
role = "power"
feed_v = 12.0
[[contacts]]
connector = "J1"
contact = "D"
role = "ground"
[[paths]]
kind = "converter"
a = "J1-A"
b = "J1-C"
efficiency = 0.9
"""

FILES: Mapping[str, str] = {
    "harness.toml": HARNESS,
    "pins.csv": PINS,
    "units/nav.toml": NAV,
    "units/log.toml": LOG,
    "units/conv.toml": CONV,
}

DATABASE = Database(
    (
        DatabaseMessage(0x100, False, "Fix", ("NAV",), 0.2, 8),
        DatabaseMessage(0x18FEF100, True, "State", ("LOGGER",), 0.5, 4),
    )
)

Change = tuple[str, str, str]  # file, text that is there once, text in its place


def changed(*changes: Change) -> dict[str, str]:
    """The sample's files with some text replaced; the text must be there exactly once."""
    files = dict(FILES)
    for file, old, new in changes:
        assert files[file].count(old) == 1, f"{old!r} is {files[file].count(old)} times in {file}"
        files[file] = files[file].replace(old, new)
    return files


def sample(*changes: Change, database: Database = DATABASE) -> Harness:
    return read_harness("sample", changed(*changes), databases={"net.dbc": database})


def faults(*changes: Change) -> tuple[FileFault, ...]:
    """The faults of the changed sample; none where it loads."""
    return faults_of(changed(*changes))


def faults_of(files: Mapping[str, bytes | str]) -> tuple[FileFault, ...]:
    try:
        read_harness("sample", files, databases={"net.dbc": DATABASE})
    except FaultyFiles as faulty:
        return faulty.faults
    return ()
