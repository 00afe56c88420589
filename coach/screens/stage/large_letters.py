"""Large letters for the words of a song, three lines tall, to be read from where one stands and plays.

Each letter is drawn in dots of one cell by half a line, so that it comes out square; half blocks hold two dots.

▄▀▀▄ █   █▀▀▄
█  █ █   █  █     capitals only: from afar they are told apart more easily
 ▀▀   ▀▀ ▀▀▀
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from coach.screens.shared.figures import DOTS

HEIGHT = 3
BETWEEN, BLANK = 1, 3  # cells between letters, and for a blank between words

BREATH_SIGN = "ʼ"  # the comma over the staff where one breathes, told from an apostrophe by its shape

_LETTERS = {
    BREATH_SIGN: ".## .## ..# .#. ...",
    "A": ".##. #..# #### #..# #..#",
    "B": "###. #..# ###. #..# ###.",
    "C": ".### #... #... #... .###",
    "D": "###. #..# #..# #..# ###.",
    "E": "#### #... ###. #... ####",
    "F": "#### #... ###. #... #...",
    "G": ".### #... #.## #..# .###",
    "H": "#..# #..# #### #..# #..#",
    "I": "# # # # #",
    "J": "..# ..# ..# #.# .#.",
    "K": "#..# #.#. ##.. #.#. #..#",
    "L": "#.. #.. #.. #.. ###",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#...# ##..# #.#.# #..## #...#",
    "O": ".##. #..# #..# #..# .##.",
    "P": "###. #..# ###. #... #...",
    "Q": ".##. #..# #..# #.## .###",
    "R": "###. #..# ###. #.#. #..#",
    "S": ".### #... .##. ...# ###.",
    "T": "##### ..#.. ..#.. ..#.. ..#..",
    "U": "#..# #..# #..# #..# .##.",
    "V": "#...# #...# .#.#. .#.#. ..#..",
    "W": "#...# #...# #.#.# ##.## #...#",
    "X": "#...# .#.#. ..#.. .#.#. #...#",
    "Y": "#...# .#.#. ..#.. ..#.. ..#..",
    "Z": "#### ...# .##. #... ####",
    "'": "# # . . .",
    ",": ". . . # #",
    ".": ". . . . #",
    ";": ". # . # #",
    ":": ". # . # .",
    "!": "# # # . #",
    "?": "##. ..# .#. ... .#.",
    "-": "... ... ### ... ...",
    "(": ".# #. #. #. .#",
    ")": "#. .# .# .# #.",
    '"': "#.# #.# ... ... ...",
    "&": ".#.. #.#. .#.# #.#. .#.#",
    "/": "..# ..# .#. #.. #..",
}
_SAME = str.maketrans({"’": "'", "‘": "'", "“": '"', "”": '"', "–": "-", "—": "-", "ß": "s", "ø": "o", "æ": "a"})
_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


@lru_cache(maxsize=256)
def letter(char: str) -> tuple[str, ...]:
    """HEIGHT rows of one character; accents are left away, and what has no picture is a small square."""
    if char == " ":
        return (" " * BLANK,) * HEIGHT
    bare = unicodedata.normalize("NFD", char.translate(_SAME))[:1].upper()
    rows = (_LETTERS.get(bare) or DOTS.get(bare) or "... ### #.# ### ...").split()
    rows.append("." * len(rows[0]))
    return tuple(
        "".join(_HALVES[top == "#", low == "#"] for top, low in zip(rows[at], rows[at + 1], strict=True))
        for at in range(0, 2 * HEIGHT, 2)
    )


def large(text: str) -> tuple[str, ...]:
    """HEIGHT rows that show `text`, with a narrow gap after each letter."""
    glyphs = [letter(char) for char in text]
    return tuple("".join(glyph[row] + " " * BETWEEN for glyph in glyphs) for row in range(HEIGHT))


def large_width(text: str) -> int:
    """Cells that `large` takes."""
    return sum(len(letter(char)[0]) + BETWEEN for char in text)
