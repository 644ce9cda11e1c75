"""Characters that nobody sees, made visible: so that a name can't hide, reverse or forge what a report says."""

from __future__ import annotations

import unicodedata

_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def visible(text: str) -> str:
    """`text` with control, formatting, private and unassigned characters written as `<U+202E>` in angle quotes."""
    if text.isprintable():  # the usual case, decided in C
        return text
    return "".join(f"⟨U+{ord(sign):04X}⟩" if unicodedata.category(sign) in _HIDDEN else sign for sign in text)
