"""Figures for a music stand: solid digits five lines tall, to be read from across the room.

██████  ██████
██      ██  ██      each dot of a 3 by 5 grid is two cells wide and one line tall, so that it
██████  ██████      comes out about square and stays solid in every font and without colour
    ██      ██
██████  ██████
"""

from __future__ import annotations

HEIGHT = 5

DOTS = {
    "0": "### #.# #.# #.# ###",
    "1": ".#. ##. .#. .#. ###",
    "2": "### ..# ### #.. ###",
    "3": "### ..# ### ..# ###",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ### ..# ###",
    "6": "### #.. ### #.# ###",
    "7": "### ..# ..# ..# ..#",
    "8": "### #.# ### #.# ###",
    "9": "### #.# ### ..# ###",
    ".": ". . . . #",
    "-": "... ... ### ... ...",
    " ": ". . . . .",
}


def figure_rows(text: str) -> tuple[str, ...]:
    """HEIGHT rows that show `text` (digits, point, minus, blank); a digit is 6 cells wide, with 2 between."""
    glyphs = [DOTS[char].split() for char in text if char in DOTS]
    return tuple(
        "  ".join(glyph[row].replace("#", "██").replace(".", "  ") for glyph in glyphs) for row in range(HEIGHT)
    )


def figure(text: str) -> str:
    """`figure_rows` as one text."""
    return "\n".join(figure_rows(text))
