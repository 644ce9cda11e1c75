"""Letters of five rows, so that the next contact can be read from two metres away."""

from __future__ import annotations

ROWS = 5
WIDTH = 5
GAP = 1
INK = "█"

# Five rows a letter, drawn for this project. 0 has a bar and 1 a foot, so that they are not taken for O and I.
_DRAWN = {
    "A": " ### |#   #|#####|#   #|#   #",
    "B": "#### |#   #|#### |#   #|#### ",
    "C": " ####|#    |#    |#    | ####",
    "D": "#### |#   #|#   #|#   #|#### ",
    "E": "#####|#    |#### |#    |#####",
    "F": "#####|#    |#### |#    |#    ",
    "G": " ####|#    |#  ##|#   #| ####",
    "H": "#   #|#   #|#####|#   #|#   #",
    "I": "#####|  #  |  #  |  #  |#####",
    "J": "  ###|   # |   # |#  # | ##  ",
    "K": "#   #|#  # |###  |#  # |#   #",
    "L": "#    |#    |#    |#    |#####",
    "M": "#   #|## ##|# # #|#   #|#   #",
    "N": "#   #|##  #|# # #|#  ##|#   #",
    "O": " ### |#   #|#   #|#   #| ### ",
    "P": "#### |#   #|#### |#    |#    ",
    "Q": " ### |#   #|# # #|#  # | ## #",
    "R": "#### |#   #|#### |#  # |#   #",
    "S": " ####|#    | ### |    #|#### ",
    "T": "#####|  #  |  #  |  #  |  #  ",
    "U": "#   #|#   #|#   #|#   #| ### ",
    "V": "#   #|#   #|#   #| # # |  #  ",
    "W": "#   #|#   #|# # #|## ##|#   #",
    "X": "#   #| # # |  #  | # # |#   #",
    "Y": "#   #| # # |  #  |  #  |  #  ",
    "Z": "#####|   # |  #  | #   |#####",
    "0": " ### |#  ##|# # #|##  #| ### ",
    "1": "  #  | ##  |  #  |  #  | ### ",
    "2": "#### |    #| ### |#    |#####",
    "3": "#### |    #| ### |    #|#### ",
    "4": "#  # |#  # |#####|   # |   # ",
    "5": "#####|#    |#### |    #|#### ",
    "6": " ### |#    |#### |#   #| ### ",
    "7": "#####|    #|   # |  #  |  #  ",
    "8": " ### |#   #| ### |#   #| ### ",
    "9": " ### |#   #| ####|    #| ### ",
    "-": "     |     | ### |     |     ",
    "_": "     |     |     |     |#####",
    "@": " ### |#  ##|# # #|# ###| ##  ",
    ".": "     |     |     |     |  #  ",
    "?": "#### |    #|  ## |     |  #  ",
    " ": "     |     |     |     |     ",
}


def can_draw(text: str) -> bool:
    """Whether every letter of `text` is drawn here; lower case is drawn as upper case."""
    return all(letter in _DRAWN for letter in text.upper())


def width_of(text: str, widen: int = 1) -> int:
    """Columns that `text` takes, each dot `widen` columns wide."""
    return max(len(text) * (WIDTH + GAP) - GAP, 0) * widen


def draw(text: str, widen: int = 1, heighten: int = 1) -> list[str]:
    """`text` in block letters: ROWS times `heighten` lines. Raises ValueError for a letter that is not drawn."""
    if not can_draw(text):
        raise ValueError(f"not drawn: {text!r}")
    letters = [_DRAWN[letter].split("|") for letter in text.upper()]
    lines = [(" " * GAP).join(letter[row] for letter in letters) for row in range(ROWS)]
    inked = ["".join((INK if dot == "#" else " ") * widen for dot in line) for line in lines]
    return [line for line in inked for _ in range(heighten)]
