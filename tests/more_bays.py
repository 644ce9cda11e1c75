"""More small profiles that review clean, each of another character. Everything in them is invented."""

from __future__ import annotations

from collections.abc import Mapping

from benchcheck.harness.reading.read_tables import Database, DatabaseMessage

Files = dict[str, str]
HEAD = "wire,from,to,awg,length_m,role,cable,shield,colour,note\n"


def unit(title: str, connectors: list[tuple[str, str, str]], rows: list[str], paths: tuple[str, ...] = ()) -> str:
    """A unit type; a row is `J1-1,NAME,role,need` with more keys behind semicolons, a path its keys in the same way."""
    text = f'schema = 1\ntitle = "{title}"\nboot_s = 1.0\n'
    for name, family, gender in connectors:
        text += f'[[connectors]]\nname = "{name}"\nfamily = "{family}"\ngender = "{gender}"\n'
    for row in rows:
        entry, *more = row.split(";")
        contact, name, role, need = entry.split(",")
        connector, pin = contact.split("-")
        text += f'[[contacts]]\nconnector = "{connector}"\ncontact = "{pin}"\nname = "{name}"\nrole = "{role}"\nneed = "{need}"\n'
        text += "".join(f"{key.strip()}\n" for key in more)
    return text + "".join("[[paths]]\n" + path.replace("; ", "\n") + "\n" for path in paths)


def conn(ref: str, family: str, gender: str = "", unit: str = "", own: str = "", zone: str = "z", **more: str) -> str:
    text = f'[[connectors]]\nref = "{ref}"\nfamily = "{family}"\n'
    text += f'gender = "{gender}"\n' if gender else ""
    text += f'unit = "{unit}"\nunit_connector = "{own}"\n' if unit else ""
    text += f'zone = "{zone}"\n' if zone else ""
    return text + "".join(f"{key} = {value}\n" for key, value in more.items()) + "\n"


# Four units that pass a CAN bus on, terminators inside the end ones enabled by bridges; a link with a signal ground of
# its own; shields drained at one end.
CHAINER = [
    "J1-1,CAN-H IN,can_h,optional",
    "J1-2,CAN-L IN,can_l,optional",
    "J1-3,CAN-H OUT,can_h,optional",
    "J1-4,CAN-L OUT,can_l,optional",
    "J1-6,SUPPLY,power,needed;feed_v = 24.0;load_a = 0.4",
    "J1-7,SUPPLY RTN,ground,needed",
    "J1-9,TERM A,bridge,optional",
    "J1-10,TERM B,bridge,optional",
]
CP = (
    'kind = "through"; a = "J1-1"; b = "J1-3"; ohm = 0.05',
    'kind = "through"; a = "J1-2"; b = "J1-4"; ohm = 0.05',
    'kind = "terminator"; a = "J1-3"; b = "J1-4"; ohm = 120.0; enabled_by = ["J1-9", "J1-10"]',
)
CHAIN: Files = {
    "harness.toml": 'schema = 1\ntitle = "Chain"\nambient_c = 25.0\nchassis = "GND7"\n\n'
    + conn("P11", "dsub15", "socket", "HUB", "J1", "fore")
    + conn("P12", "dsub15", "socket", "SND", "J1", "fore")
    + conn("P13", "dsub15", "socket", "TID", "J1", "aft")
    + conn("P14", "dsub15", "socket", "DIS", "J1", "aft")
    + conn("TB7", "terminals", zone="fore", rows='[["1","2","3","4","5","6","7","8"]]')
    + conn("GND7", "stud", zone="fore")
    + "".join(
        f'[[units]]\nref = "{r}"\ntype = "{t}"\n'
        for r, t in (("HUB", "talker"), ("SND", "talker"), ("TID", "chainer"), ("DIS", "chainer"))
    )
    + '[[feeds]]\nname = "24V"\nnominal_v = 24.0\nsource = "TB7-1"\nground = "TB7-8"\nlimit_a = 6.0\n'
    + "".join(
        f'[[parts]]\nref = "CB{i}"\nkind = "protector"\nfrom = "TB7-1"\nto = "TB7-{i + 1}"\nohm = 0.02\nrating_a = 5.0\n'
        for i in (1, 2, 3, 4)
    )
    + '[[buses]]\nname = "spine"\nbitrate = 500000\nnodes = ["HUB", "SND", "TID", "DIS"]\nadapter_at = "P14"\nnetwork = "n.dbc"\n'
    + '[[links]]\nname = "depth"\nprotocol = "nmea0183"\nbaud = 4800\ntap = "P12"\nground = "P12-13"\n'
    + '[[links.talks]]\ntx = "P12-11"\nrx = "P11-12"\ntypes = ["SDDBT"]\n[[links.talks]]\ntx = "P11-11"\nrx = "P12-12"\ntypes = ["GPZDA"]\n'
    + "".join(
        f'[[cables]]\nname = "C{i}"\ndrained = "one_end"\nunshielded_mm = 60\ndrain_mm = 100\n' for i in (1, 2, 3)
    )
    + '[[cables]]\nname = "C4"\ndrained = "one_end"\nsensitive = true\nunshielded_mm = 20\ndrain_mm = 40\n',
    "pins.csv": HEAD
    + """\
W1,TB7-2,P11-6,22,1.0,power,,,red,
W2,TB7-3,P12-6,22,1.5,power,,,red,
W3,TB7-4,P13-6,22,3.0,power,,,red,
W4,TB7-5,P14-6,22,4.0,power,,,red,
W5,P11-7,GND7,22,1.0,ground,,,black,
W6,P12-7,GND7,22,1.5,ground,,,black,
W7,P13-7,GND7,22,3.0,ground,,,black,
W8,P14-7,GND7,22,4.0,ground,,,black,
W9,TB7-8,GND7,18,0.3,ground,,,black,
W20,P11-3,P12-1,24,2.0,can_h,C1,S1,,
W21,P11-4,P12-2,24,2.0,can_l,C1,S1,,
S1,P11-ring,,24,2.0,shield,C1,,,
W22,P12-3,P13-1,24,3.0,can_h,C2,S2,,
W23,P12-4,P13-2,24,3.0,can_l,C2,S2,,
S2,P12-ring,,24,3.0,shield,C2,,,
W24,P13-3,P14-1,24,2.5,can_h,C3,S3,,
W25,P13-4,P14-2,24,2.5,can_l,C3,S3,,
S3,P13-ring,,24,2.5,shield,C3,,,
W30,P11-11,P12-12,24,2.0,rs232_tx,C4,S4,,
W31,P11-12,P12-11,24,2.0,rs232_rx,C4,S4,,
W32,P11-13,P12-13,24,2.0,signal,C4,S4,,
S4,P11-ring,,24,2.0,shield,C4,,,
B1,P11-9,P11-10,22,0.05,bridge,,,,
B2,P14-9,P14-10,22,0.05,bridge,,,,
""",
    "units/chainer.toml": unit("Chained unit", [("J1", "dsub15", "pin")], CHAINER, CP),
    "units/talker.toml": unit(
        "Chained unit with a line",
        [("J1", "dsub15", "pin")],
        [
            *CHAINER,
            'J1-11,TXD,rs232_tx,optional;protocol = "nmea0183"',
            'J1-12,RXD,rs232_rx,optional;protocol = "nmea0183"',
            "J1-13,SIG COM,signal,optional",
            "J1-14,ALARM,signal,optional",
        ],
        CP,
    ),
}

# 28 V over 50 ft there and back at 20 A (AC 43.13-1B CHG 1, page 11-26: No. 8 will do, No. 10 won't); an inverter to 115 V.
LONG_RUNS: Files = {
    "harness.toml": 'schema = 1\ntitle = "Twenty-eight volt bay"\nchassis = "GND1"\ninsulation_c = 150\n\n'
    + conn("TB1", "terminals", zone="box", rows='[["1","2","3","4","5","6"]]', doubles='["4"]')
    + conn("P21", "circular", "socket", "HEAT", "J1", "tank", rows='[["A","B"]]', contact_sizes='{ A = "8", B = "8" }')
    + conn("P22", "circular", "socket", "INV", "J1", "box", rows='[["A","B"],["C","D"]]', contact_size='"16"')
    + conn("P23", "dsub9", "socket", "LAMP", "J1", "mast")
    + conn("P24", "dsub9", "socket", "CTL", "J1", "box")
    + conn("GND1", "stud", zone="box")
    + conn("SP1", "splice", zone="")
    + "".join(
        f'[[units]]\nref = "{r}"\ntype = "{t}"\n'
        for r, t in (("HEAT", "heat"), ("INV", "inv"), ("LAMP", "lamp"), ("CTL", "ctl"))
    )
    + '[[feeds]]\nname = "28V"\nnominal_v = 28.0\nsource = "TB1-1"\nground = "TB1-5"\nlimit_a = 30.0\n'
    + '[[feeds]]\nname = "115V"\nnominal_v = 115.0\nsource = "P22-C"\nground = "P22-D"\nconverter = "INV"\n'
    + '[[parts]]\nref = "CB1"\nkind = "protector"\nfrom = "TB1-1"\nto = "TB1-2"\nrating_a = 40.0\n'
    + '[[parts]]\nref = "CB2"\nkind = "protector"\nfrom = "TB1-1"\nto = "TB1-3"\nrating_a = 10.0\n'
    + '[[parts]]\nref = "CB3"\nkind = "protector"\nfrom = "TB1-1"\nto = "TB1-4"\nrating_a = 5.0\n',
    "pins.csv": HEAD
    + """\
W1,TB1-2,P21-A,8,7.62,power,,,,
W2,P21-B,GND1,8,7.62,ground,,,,
W3,TB1-3,P22-A,18,3.0,power,,,,
W4,P22-B,GND1,18,3.0,ground,,,,
W5,P22-C,P23-1,20,40.0,power,,,,
W6,P22-D,P23-2,20,40.0,ground,,,,
W7,TB1-4,SP1,22,0.5,power,,,,
W8,SP1,P24-1,22,0.5,power,,,,
W9,TB1-4,P24-2,22,0.5,power,,,,
W10,P24-3,GND1,22,0.6,ground,,,,
W11,P24-4,GND1,22,0.6,ground,,,,
W12,TB1-5,GND1,6,0.5,ground,,,,
W13,P22-D,GND1,20,0.5,ground,,,,
""",
    "units/heat.toml": unit(
        "Heater",
        [("J1", "circular", "pin")],
        ["J1-A,28V,power,needed;feed_v = 28.0;load_a = 20.0", "J1-B,RTN,ground,needed"],
    ),
    "units/inv.toml": unit(
        "Inverter",
        [("J1", "circular", "pin")],
        [
            "J1-A,28V IN,power,needed;feed_v = 28.0;load_a = 0.2",
            "J1-B,RTN,ground,needed",
            "J1-C,115V OUT,power,needed;feed_v = 115.0",
            "J1-D,115V RTN,ground,needed",
        ],
        ('kind = "converter"; a = "J1-A"; b = "J1-C"; efficiency = 0.85',),
    ),
    "units/lamp.toml": unit(
        "Lamp",
        [("J1", "dsub9", "pin")],
        ["J1-1,115V,power,needed;feed_v = 115.0;load_a = 1.5", "J1-2,RTN,ground,needed"],
    ),
    "units/ctl.toml": unit(
        "Control",
        [("J1", "dsub9", "pin")],
        [
            "J1-1,28V A,power,needed;feed_v = 28.0;load_a = 0.5",
            "J1-2,28V B,power,needed;feed_v = 28.0;load_a = 0.5",
            "J1-3,RTN A,ground,needed",
            "J1-4,RTN B,ground,needed",
        ],
    ),
}
LONG_RUNS["harness.toml"] = LONG_RUNS["harness.toml"].replace(
    'contact_size = "16"', 'contact_size = "16"\ndoubles = ["D"]'
)

# 14 V made 28 V: 2 A at 90 percent take 2 x 28 / (0.9 x 14) = 4.44 A.
STEP_UP: Files = {
    "harness.toml": 'schema = 1\ntitle = "Step up"\nchassis = "GND1"\n\n'
    + conn("P31", "circular", "pin", "UPC", "J1", "rack", rows='[["A","B"]]', contact_size='"16"')
    + conn(
        "P32",
        "dsub9",
        "pin",
        "UPC",
        "J2",
        "rack",
    )
    + conn("P33", "dsub9", "socket", "SON", "J1", "keel")
    + conn("P34", "dsub25", "socket", "LOG", "J1", "rack")
    + conn("TB3", "terminals", zone="rack", rows='[["1","2","3","4"]]')
    + conn("GND1", "stud", zone="rack")
    + "".join(f'[[units]]\nref = "{r}"\ntype = "{t}"\n' for r, t in (("UPC", "upc"), ("SON", "son"), ("LOG", "log")))
    + '[[feeds]]\nname = "14V"\nnominal_v = 14.0\nsource = "TB3-1"\nground = "TB3-4"\nlimit_a = 10.0\n'
    + '[[feeds]]\nname = "28V"\nnominal_v = 28.0\nsource = "P32-1"\nground = "P32-6"\nconverter = "UPC"\n'
    + '[[parts]]\nref = "F1"\nkind = "protector"\nfrom = "TB3-1"\nto = "TB3-2"\nrating_a = 7.5\n'
    + '[[parts]]\nref = "F2"\nkind = "protector"\nfrom = "TB3-1"\nto = "TB3-3"\nrating_a = 5.0\n',
    "pins.csv": HEAD
    + """\
W1,TB3-2,P31-A,18,1.0,power,,,,
W2,P31-B,GND1,18,1.0,ground,,,,
W3,P32-1,P33-1,20,4.0,power,,,,
W4,P32-6,P33-2,20,4.0,ground,,,,
W5,TB3-3,P34-1,22,2.0,power,,,,
W6,P34-14,GND1,22,2.0,ground,,,,
W7,TB3-4,GND1,16,0.4,ground,,,,
W8,P33-5,P34-5,24,4.0,signal,C1,,,
W9,P33-9,P34-17,24,4.0,ground,C1,,,
""",
    "units/upc.toml": unit(
        "Step-up converter",
        [("J1", "circular", "socket"), ("J2", "dsub9", "socket")],
        [
            "J1-A,14V IN,power,needed;feed_v = 14.0",
            "J1-B,RTN,ground,needed",
            "J2-1,28V,power,needed;feed_v = 28.0",
            "J2-6,28V RTN,ground,needed",
        ],
        (
            'kind = "converter"; a = "J1-A"; b = "J2-1"; efficiency = 0.9',
            'kind = "through"; a = "J1-B"; b = "J2-6"; ohm = 0.01',
        ),
    ),
    "units/son.toml": unit(
        "Sonar",
        [("J1", "dsub9", "pin")],
        [
            "J1-1,28V,power,needed;feed_v = 28.0;load_a = 2.0",
            "J1-2,RTN,ground,needed",
            "J1-5,TRIG,signal,needed",
            "J1-9,TRIG RTN,ground,needed",
        ],
    ),
    "units/log.toml": unit(
        "Logger",
        [("J1", "dsub25", "pin")],
        [
            "J1-1,14V,power,needed;feed_v = 14.0;load_a = 0.8",
            "J1-14,RTN,ground,needed",
            "J1-5,TRIG IN,signal,optional",
            "J1-17,TRIG RTN,ground,optional",
        ],
    ),
}

# Two buses through one circular connector given by coordinates; splices, doubled grounds, coax, a stub and a tap.
GATE = [
    "J1-A,14V,power,needed;feed_v = 12.0;load_a = 0.3",
    "J1-B,RTN,ground,needed",
    "J1-C,CAN1 H,can_h,needed",
    "J1-D,CAN1 L,can_l,needed",
    "J1-E,CAN2 H,can_h,optional",
    "J1-F,CAN2 L,can_l,optional",
    "J1-G,KEY,signal,unused",
]
TWO_BUSES: Files = {
    "harness.toml": 'schema = 1\ntitle = "Two buses"\nchassis = "GND1"\n\n'
    + conn(
        "P41",
        "circular",
        "socket",
        "GW",
        "J1",
        "mast",
        places="{ A = [0.0, 0.0], B = [3.0, 0.0], C = [6.0, 0.0], D = [0.0, 3.0], E = [3.0, 3.0], F = [6.0, 3.0], G = [3.0, 6.0] }",
        contact_size='"20"',
    )
    + conn(
        "P42",
        "circular",
        "socket",
        "N2",
        "J1",
        "cabin",
        places="{ A = [0.0, 0.0], B = [3.0, 0.0], C = [6.0, 0.0], D = [0.0, 3.0], E = [3.0, 3.0], F = [6.0, 3.0], G = [3.0, 6.0] }",
        contact_size='"20"',
    )
    + conn(
        "P43",
        "dsub9",
        "socket",
        "N3",
        "J1",
        "cabin",
    )
    + conn("P44", "dsub9", "socket", "N4", "J1", "cabin", doubles='["3"]')
    + conn("P190", "dsub9", "socket", zone="cabin")
    + conn("P45", "coax", "pin", "GW", "J2", "mast")
    + conn("P46", "coax", "pin", "N2", "J2", "cabin")
    + conn("TB1", "terminals", zone="cabin", rows='[["1","2","3"]]')
    + "".join(conn(s, "splice", zone="") for s in ("SP1", "SP2", "SP3", "SP4", "SP5", "SP6"))
    + conn("GND1", "stud", zone="cabin")
    + conn("GND2", "stud", zone="mast")
    + "".join(
        f'[[units]]\nref = "{r}"\ntype = "{t}"\n'
        for r, t in (("GW", "gate"), ("N2", "gate"), ("N3", "leaf"), ("N4", "leaf"))
    )
    + '[[feeds]]\nname = "12V"\nnominal_v = 12.0\nsource = "TB1-1"\nground = "TB1-3"\n'
    + '[[parts]]\nref = "CB1"\nkind = "protector"\nfrom = "TB1-1"\nto = "TB1-2"\nrating_a = 5.0\n'
    + "".join(
        f'[[parts]]\nref = "{r}"\nkind = "terminator"\nfrom = "{a}"\nto = "{b}"\nohm = 120.0\n'
        for r, a, b in (
            ("RT1", "P41-C", "P41-D"),
            ("RT2", "P44-6", "P44-7"),
            ("RT3", "P41-E", "P41-F"),
            ("RT4", "P42-E", "P42-F"),
        )
    )
    + '[[buses]]\nname = "one"\nbitrate = 250000\nnodes = ["GW", "N2", "N3", "N4"]\nadapter_at = "P190"\nnetwork = "n.dbc"\n'
    + '[[buses]]\nname = "two"\nbitrate = 1000000\nnodes = ["GW", "N2"]\nadapter_at = "P41"\nnetwork = "m.dbc"\n'
    + '[[cables]]\nname = "K1"\ndrained = "both_ends"\nunshielded_mm = 100\ndrain_mm = 150\n',
    "pins.csv": HEAD
    + """\
W1,TB1-2,SP1,20,0.5,power,,,,
W2,SP1,P41-A,22,5.0,power,,,,
W3,SP1,P42-A,22,1.0,power,,,,
W4,SP1,P43-1,22,1.0,power,,,,
W5,SP1,P44-1,22,1.0,power,,,,
W6,P41-B,GND1,20,5.0,ground,,,,
W7,P42-B,SP2,22,1.0,ground,,,,
W8,P43-2,SP2,22,1.0,ground,,,,
W9,SP2,GND1,20,1.0,ground,,,,
W10,P44-2,GND1,22,1.0,ground,,,,
W11,P44-3,GND1,24,1.0,ground,,,,
W12,P44-3,GND1,24,1.0,ground,,,,
W13,TB1-3,GND1,18,0.5,ground,,,,
W14,GND2,GND1,10,6.0,ground,,,,
W20,P41-C,SP3,22,6.0,can_h,K1,S1,,
W21,P41-D,SP4,22,6.0,can_l,K1,S1,,
S1,P41-ring,GND1,22,6.0,shield,K1,,,
W22,SP3,P42-C,22,0.3,can_h,K2,,,
W23,SP4,P42-D,22,0.3,can_l,K2,,,
W24,SP3,SP5,22,2.0,can_h,K3,,,
W25,SP4,SP6,22,2.0,can_l,K3,,,
W26,SP5,P43-6,22,0.4,can_h,K4,,,
W27,SP6,P43-7,22,0.4,can_l,K4,,,
W28,SP5,P44-6,22,1.5,can_h,K5,,,
W29,SP6,P44-7,22,1.5,can_l,K5,,,
W30,SP5,P190-2,22,0.5,can_h,K6,,,
W31,SP6,P190-7,22,0.5,can_l,K6,,,
W32,P41-E,P42-E,22,7.0,can_h,K7,,,
W33,P41-F,P42-F,22,7.0,can_l,K7,,,
X1,P45-centre,P46-centre,,7.0,coax,K8,,,
S8,P45-shell,P46-shell,,7.0,shield,K8,,,
""",
    "units/gate.toml": unit(
        "Gateway", [("J1", "circular", "pin"), ("J2", "coax", "socket")], [*GATE, "J2-centre,RF,coax,needed"]
    ),
    "units/leaf.toml": unit(
        "Leaf",
        [("J1", "dsub9", "pin")],
        [
            "J1-1,12V,power,needed;feed_v = 12.0;load_a = 0.2",
            "J1-2,RTN,ground,needed",
            "J1-3,RTN 2,ground,optional",
            "J1-6,H,can_h,needed",
            "J1-7,L,can_l,needed",
            "J1-8,SENSE,signal,optional",
        ],
    ),
}
TWO_BUSES["pins.csv"] = TWO_BUSES["pins.csv"].replace(
    "X1,P45-centre,P46-centre,,7.0,coax,K8,,,", "X1,P45-centre,P46-centre,,7.0,coax,K8,S8,,"
)

# Two buses between the same two units, whose contacts alternate.
RED = unit(
    "Red",
    [("J1", "dsub15", "pin")],
    [
        "J1-1,A H,can_h,needed",
        "J1-2,B H,can_h,needed",
        "J1-3,B L,can_l,needed",
        "J1-4,A L,can_l,needed",
        "J1-6,P,power,needed;feed_v = 24.0;load_a = 0.2",
        "J1-7,G,ground,needed",
    ],
)
REDUNDANT: Files = {
    "harness.toml": 'schema = 1\ntitle = "Redundant"\nchassis = "GND1"\n\n'
    + conn("P1", "dsub15", "socket", "R1", "J1")
    + conn("P2", "dsub15", "socket", "R2", "J1")
    + conn("TB1", "terminals", rows='[["1","2","3"]]', doubles='["2"]')
    + conn("GND1", "stud")
    + '[[units]]\nref = "R1"\ntype = "red"\n[[units]]\nref = "R2"\ntype = "red"\n[[feeds]]\nname = "24V"\nnominal_v = 24.0\nsource = "TB1-1"\nground = "TB1-3"\n[[parts]]\nref = "CB1"\nkind = "protector"\nfrom = "TB1-1"\nto = "TB1-2"\nrating_a = 5.0\n'
    + "".join(
        f'[[parts]]\nref = "RT{i}"\nkind = "terminator"\nfrom = "{a}"\nto = "{b}"\nohm = 120.0\n'
        for i, (a, b) in enumerate((("P1-1", "P1-4"), ("P2-1", "P2-4"), ("P1-2", "P1-3"), ("P2-2", "P2-3")))
    )
    + '[[buses]]\nname = "a"\nbitrate = 1000000\nnodes = ["R1", "R2"]\nadapter_at = "P2"\nnetwork = "n.dbc"\n[[buses]]\nname = "b"\nbitrate = 250000\nnodes = ["R1", "R2"]\nadapter_at = "P2"\nnetwork = "n.dbc"\n',
    "pins.csv": HEAD
    + "W1,TB1-2,P1-6,22,1.0,power,,,,\nW2,TB1-2,P2-6,22,1.0,power,,,,\nW3,P1-7,GND1,22,1.0,ground,,,,\nW4,P2-7,GND1,22,1.0,ground,,,,\nW5,TB1-3,GND1,20,0.5,ground,,,,\n"
    "W10,P1-1,P2-1,24,5.0,can_h,CA,,,\nW11,P1-4,P2-4,24,5.0,can_l,CA,,,\nW12,P1-2,P2-2,24,5.0,can_h,CB,,,\nW13,P1-3,P2-3,24,5.0,can_l,CB,,,\n",
    "units/red.toml": RED,
}

# Supply and its return led through one unit to another.
BOX = unit(
    "Box",
    [("J1", "dsub9", "pin"), ("J2", "dsub9", "socket")],
    [
        "J1-1,IN,power,needed;feed_v = 24.0;load_a = 0.1",
        "J1-2,RTN,ground,needed",
        "J2-1,OUT,power,needed;feed_v = 24.0",
        "J2-2,OUT RTN,ground,needed",
    ],
    (
        'kind = "through"; a = "J1-1"; b = "J2-1"; ohm = 0.02',
        'kind = "through"; a = "J1-2"; b = "J2-2"; ohm = 0.02',
    ),
)
END = unit(
    "End", [("J1", "dsub9", "pin")], ["J1-1,IN,power,needed;feed_v = 24.0;load_a = 0.5", "J1-2,RTN,ground,needed"]
)
PASSED_ON: Files = {
    "harness.toml": 'schema = 1\ntitle = "Passed on"\nchassis = "GND1"\n\n'
    + conn("P1", "dsub9", "socket", "BOX", "J1")
    + conn("P2", "dsub9", "pin", "BOX", "J2")
    + conn("P3", "dsub9", "socket", "END", "J1")
    + conn("TB1", "terminals", rows='[["1","2","3"]]')
    + conn("GND1", "stud")
    + '[[units]]\nref = "BOX"\ntype = "box"\n[[units]]\nref = "END"\ntype = "end"\n[[feeds]]\nname = "24V"\nnominal_v = 24.0\nsource = "TB1-1"\nground = "TB1-3"\n[[parts]]\nref = "CB1"\nkind = "protector"\nfrom = "TB1-1"\nto = "TB1-2"\nrating_a = 5.0\n',
    "pins.csv": HEAD
    + "W1,TB1-2,P1-1,22,1.0,power,,,,\nW2,P1-2,GND1,22,1.0,ground,,,,\nW3,P2-1,P3-1,22,1.0,power,,,,\nW4,P2-2,P3-2,22,1.0,ground,,,,\nW5,TB1-3,GND1,20,0.5,ground,,,,\n",
    "units/box.toml": BOX,
    "units/end.toml": END,
}


def _with(files: Files, *changes: tuple[str, str, str]) -> Files:
    texts = dict(files)
    for file, old, new in changes:
        texts[file] = texts[file].replace(old, new)
    return texts


# One talker, two listeners.
LISTENERS: Files = _with(
    CHAIN,
    *[
        (
            "harness.toml",
            '[[units]]\nref = "HUB"',
            conn("P51", "dsub9", "socket", "EAR", "J1")
            + conn("SP7", "splice", zone="")
            + conn("SP8", "splice", zone="")
            + '[[units]]\nref = "EAR"\ntype = "ear"\n[[units]]\nref = "HUB"',
        ),
        (
            "pins.csv",
            "W31,P11-12,P12-11,24,2.0,rs232_rx,C4,S4,,",
            "W31,P11-12,SP7,24,1.9,rs232_rx,C4,S4,,\nW36,SP7,P12-11,24,0.1,rs232_rx,,,,\nW37,P51-2,SP7,24,1.0,rs232_rx,,,,",
        ),
        (
            "pins.csv",
            "W32,P11-13,P12-13,24,2.0,signal,C4,S4,,",
            "W32,P11-13,SP8,24,1.9,signal,C4,S4,,\nW38,SP8,P12-13,24,0.1,signal,,,,\nW39,P51-5,SP8,24,1.0,signal,,,,\nW40,TB7-6,P51-1,22,1.0,power,,,,\nW41,P51-7,GND7,22,1.0,ground,,,,",
        ),
        (
            "harness.toml",
            '[[parts]]\nref = "CB1"',
            '[[parts]]\nref = "CB5"\nkind = "protector"\nfrom = "TB7-1"\nto = "TB7-6"\nrating_a = 5.0\n[[parts]]\nref = "CB1"',
        ),
    ],
) | {
    "units/ear.toml": unit(
        "Ear",
        [("J1", "dsub9", "pin")],
        [
            "J1-1,IN,power,needed;feed_v = 24.0;load_a = 0.1",
            "J1-2,RXD,rs232_rx,needed",
            "J1-5,COM,signal,needed",
            "J1-7,RTN,ground,needed",
        ],
    )
}

# The link through a connector that has no unit.
BULKHEAD: Files = _with(
    CHAIN,
    (
        "harness.toml",
        '[[units]]\nref = "HUB"',
        conn("P50", "dsub9", "pin", zone="wall", doubles='["2","3","5"]') + '[[units]]\nref = "HUB"',
    ),
    (
        "pins.csv",
        "W30,P11-11,P12-12,24,2.0,rs232_tx,C4,S4,,",
        "W30,P11-11,P50-2,24,1.0,rs232_tx,C4,S4,,\nW33,P50-2,P12-12,24,1.0,rs232_tx,C5,,,",
    ),
    (
        "pins.csv",
        "W31,P11-12,P12-11,24,2.0,rs232_rx,C4,S4,,",
        "W31,P11-12,P50-3,24,1.0,rs232_rx,C4,S4,,\nW34,P50-3,P12-11,24,1.0,rs232_rx,C5,,,",
    ),
    (
        "pins.csv",
        "W32,P11-13,P12-13,24,2.0,signal,C4,S4,,",
        "W32,P11-13,P50-5,24,1.0,signal,C4,S4,,\nW35,P50-5,P12-13,24,1.0,signal,C5,,,",
    ),
)


def _database(first_id: int, *nodes: str) -> Database:
    return Database(
        tuple(
            DatabaseMessage(first_id + index, False, f"State{node}", (node,), 0.2, 8)
            for index, node in enumerate(nodes)
        )
    )


_DATABASES: Mapping[str, Mapping[str, Database]] = {
    "Chain": {"n.dbc": _database(0x100, "HUB", "SND", "TID", "DIS")},
    "Two buses": {"n.dbc": _database(0x100, "GW", "N2", "N3", "N4"), "m.dbc": _database(0x200, "GW", "N2")},
    "Redundant": {"n.dbc": _database(0x100, "R1", "R2")},
}


def databases(files: Files) -> Mapping[str, Database]:
    """The message databases that belong to a profile, by its title."""
    return next((found for title, found in _DATABASES.items() if f'title = "{title}"' in files["harness.toml"]), {})
