"""Every key of the screens, once: bindings, footer and help come from here."""

from __future__ import annotations

from dataclasses import dataclass

from textual.binding import Binding, BindingType

EVERYWHERE, JOBS, BOARD, STEP = "everywhere", "list of jobs", "board", "step"


@dataclass(frozen=True, slots=True)
class Key:
    """keys as Textual names them, parted by commas; `label` stands in the footer, `help` on the help screen."""

    where: str
    keys: str
    action: str
    label: str
    help: str
    footer: bool = True


KEYS = (
    Key(JOBS, "r", "refresh", "Look again", "look for jobs in this folder again"),
    Key(JOBS, "q", "app.quit", "Quit", "leave benchcheck"),
    Key(BOARD, "n,enter", "next", "Next step", "do the next step that can be done"),
    Key(BOARD, "d", "diagnose", "Find the fault", "look for the fault behind what failed, with a few more probes"),
    Key(BOARD, "q", "app.quit", "Quit", "leave benchcheck; what was recorded stays"),
    Key(STEP, "escape", "board", "Board", "back to the board; the step that was begun is not recorded"),
    Key(STEP, "f2", "skip", "Skip", "leave the step out; type the reason, then Enter (or type: skip REASON)"),
    Key(STEP, "f3", "back", "Step before", "do the step before once more (or type: back)"),
    Key(EVERYWHERE, "f1", "app.help", "Help", "this list"),
    Key(EVERYWHERE, "ctrl+q", "app.quit", "Quit", "leave benchcheck from anywhere", footer=False),
    Key(
        EVERYWHERE, "ctrl+c", "app.interrupt", "Interrupt", "the same, with the exit code of an interrupt", footer=False
    ),
)


def bindings(*places: str) -> list[BindingType]:
    """The bindings of these places."""
    return [
        Binding(key.keys, key.action, key.label, show=key.footer, priority=key.keys.startswith("ctrl+"))
        for key in KEYS
        if key.where in places
    ]


def help_lines() -> list[tuple[str, list[tuple[str, str]]]]:
    """Place -> its keys and what they do, in the order of the registry."""
    places = dict.fromkeys(key.where for key in KEYS)
    return [(place, [(_shown(key.keys), key.help) for key in KEYS if key.where == place]) for place in places]


def _shown(keys: str) -> str:
    return " or ".join(key.replace("ctrl+", "Ctrl-").replace("escape", "Esc").capitalize() for key in keys.split(","))
