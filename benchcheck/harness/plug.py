"""Plugs that join a connector's contacts to chassis: all together, or each through a resistor of its own.

A shorting plug shows that something is connected, never which contact it is. A coded plug has another resistor on each
contact, so that a reading from the far end names the contact.
"""

from __future__ import annotations

# A link of a plug with its test contact and the lead to chassis (common practice, no source).
PLUG_OHM = 0.05

# IEC 60063, series E48 (from memory: 48 values a decade, each the power of ten rounded to three figures).
_E48_PER_DECADE = 48
_FIRST_OHM = 100.0
# What the resistors of a coded plug may be off; E48 values are also sold with 1 percent (common practice, no source).
CODE_PERCENT = 1.0


def code_ohm(index: int) -> float:
    """The resistor on the contact that is `index`-th (from 0) in its connector: E48 values from 100 ohm up."""
    decade, step = divmod(index, _E48_PER_DECADE)
    return float(round(_FIRST_OHM * 10 ** (step / _E48_PER_DECADE)) * 10**decade)
