"""Words of other tables for a role, a state or a need, and what they are taken for.

Common practice, no source: each word is reported with what it was taken for, and a mapping can say otherwise.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

from benchcheck.harness.model import Need, Role, RunState

_ROLES: Mapping[Role, str] = {
    Role.POWER: "power, pwr, supply, feed, vcc, vdd, vin, positive, dc plus, 5v, 12v, 24v, 28v, plus 12v, plus 24v, v plus",
    Role.GROUND: "ground, gnd, earth, return, rtn, ret, 0v, common, negative, dc minus, chassis, power return, pwr rtn",
    Role.SIGNAL: "signal, sig, discrete, analog, analogue, digital, data, logic, io, input, output, sense, control",
    Role.CAN_H: "can h, can hi, can high, canh, canhi, canhigh, can plus",
    Role.CAN_L: "can l, can lo, can low, canl, canlo, canlow, can minus",
    Role.RS232_TX: "rs232 tx, rs 232 tx, tx, txd, transmit, serial tx, uart tx, rs232 out",
    Role.RS232_RX: "rs232 rx, rs 232 rx, rx, rxd, receive, serial rx, uart rx, rs232 in",
    Role.SHIELD: "shield, shld, screen, scrn, drain, braid, shield drain",
    Role.BRIDGE: "bridge, jumper, strap, loop, link, loopback",
    Role.COAX: "coax, coaxial, rf, antenna, ant",
}
_STATES: Mapping[RunState, str] = {
    RunState.PLANNED: "planned, plan, to do, todo, open, not wired, future",
    RunState.WIRED: "wired, done, fitted, installed, built, as built",
    RunState.PROVED: "proved, proven, tested, checked, verified, passed",
}
_NEEDS: Mapping[Need, str] = {
    Need.NEEDED: "needed, need, required, mandatory, yes, y, must, x",
    Need.OPTIONAL: "optional, opt, if fitted, may",
    Need.UNUSED: "unused, not used, no, n, nc, n c, spare, not connected, no connection, reserved",
}


def plain(word: str) -> str:
    """A word without case, punctuation and double blanks: `CAN-H`, `can_h` and `Can H` are the same."""
    folded = unicodedata.normalize("NFKC", word).casefold()
    folded = re.sub(r"\+", " plus ", folded)
    folded = re.sub(r"(?<=[a-z0-9])\s*[-\u2212](?=\s*\Z)", " minus ", folded)  # CAN-, not can-h
    return " ".join(re.findall(r"[^\W_]+", folded))


def _words(table: Mapping[Role, str] | Mapping[RunState, str] | Mapping[Need, str]) -> dict[str, str]:
    found = {}
    for value, words in table.items():
        for word in (value.value, *words.split(",")):
            found[plain(word)] = value.value
    return found


# target column -> plain word -> the value it stands for
WORDS: Mapping[str, Mapping[str, str]] = {"role": _words(_ROLES), "state": _words(_STATES), "need": _words(_NEEDS)}


def meaning(target: str, word: str, own: Mapping[str, str]) -> str:
    """What `word` stands for in the column `target`; empty where that is not known. `own` words come first."""
    key = plain(word)
    for known, value in own.items():
        if plain(known) == key:
            return value
    return WORDS[target].get(key, "")
