"""Fonts with their widths, and the signs of music drawn as paths.

Fonts: DejaVu Sans Condensed (shared/fonts, free licence beside it). The signs are our own outlines, around (0, 0).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path as File
from typing import Any

from coach import places

REGULAR, BOLD, ITALIC = "DejaVuSansCondensed", "DejaVuSansCondensed-Bold", "DejaVuSansCondensed-Oblique"
FONTS = (REGULAR, BOLD, ITALIC)

# How far letters reach above and below the baseline, as shares of the size, from the fonts' own outlines.
_LOW_LETTERS, _DIGITS, _LETTERS, _ANY = 0.565, 0.745, 0.80, 1.06
_NO_HIGHER = frozenset(",-.:;=_acegmnopqrsuvwxyz~ ")
_BELOW = {**dict.fromkeys("gjpqyJ", 0.22), **dict.fromkeys("()[]{}/@$\\Q;,", 0.17)}
_DEEPEST = 0.25

Op = tuple[str, tuple[float, ...]]
"""A step of a path: M x y, L x y, C x1 y1 x2 y2 x y, Z."""


def font_file(name: str) -> File:
    """Where the font's file lies."""
    return places.shipped("shared") / "fonts" / f"{name}.ttf"


@cache
def load_font(name: str) -> Any:
    """The font for a painter and for measuring, registered once."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    font = TTFont(name, str(font_file(name)))
    pdfmetrics.registerFont(font)
    return font


def missing_letters(text: str) -> str:
    """The letters of `text` that the fonts have no sign for, each once."""
    has = load_font(REGULAR).face.charToGlyph
    return "".join(dict.fromkeys(c for c in text if not c.isspace() and ord(c) not in has))


def width(text: str, font: str, size: float) -> float:
    """Points that `text` takes."""
    return float(load_font(font).stringWidth(text, size))


def height(text: str, size: float) -> float:
    """Points from the baseline to the top of the tallest letter."""
    if any(ord(c) > 126 for c in text):
        return size * _ANY
    if all(c in _NO_HIGHER for c in text):
        return size * _LOW_LETTERS
    return size * (_DIGITS if text.isdigit() else _LETTERS)


def depth(text: str, size: float) -> float:
    """Points that the lowest letter hangs below the baseline."""
    return size * max((_DEEPEST if ord(c) > 126 or c in "_|" else _BELOW.get(c, 0.02) for c in text), default=0.0)


# Signs ----------------------------------------------------------------------------------------


def _shift_path(x: float, y: float, ops: tuple[Op, ...], by: float = 1.0) -> tuple[Op, ...]:
    return tuple((o, tuple(v * by + (y if k % 2 else x) for k, v in enumerate(at))) for o, at in ops)


def disc(x: float, y: float, radius: float) -> tuple[Op, ...]:
    """A circle of four curves (control points at 0.5523 of the radius, from memory)."""
    c = 0.5523 * radius
    r = radius
    ops: tuple[Op, ...] = (
        ("M", (r, 0)),
        ("C", (r, c, c, r, 0, r)),
        ("C", (-c, r, -r, c, -r, 0)),
        ("C", (-r, -c, -c, -r, 0, -r)),
        ("C", (c, -r, r, -c, r, 0)),
        ("Z", ()),
    )
    return _shift_path(x, y, ops)


def flag(x: float, y: float, down: int) -> tuple[Op, ...]:
    """A flag that hangs from a stem's end at (x, y); `down` 1 for a stem that goes up, -1 for one that goes down."""
    ops: tuple[Op, ...] = (
        ("M", (0, 0)),
        ("C", (0.4, 3.2 * down, 4.6, 4.0 * down, 3.2, 8.6 * down)),
        ("C", (3.6, 6.0 * down, 1.6, 4.6 * down, 0, 4.2 * down)),
        ("Z", ()),
    )
    return _shift_path(x, y, ops)


def quarter_rest(x: float, y: float) -> tuple[Op, ...]:
    """A quarter rest, 10 points high, centred."""
    ops: tuple[Op, ...] = (
        ("M", (-1.2, -5)),
        ("L", (1.7, -1.6)),
        ("C", (0.2, -0.4, 0.2, 0.6, 1.9, 2.5)),
        ("C", (-0.4, 1.7, -0.8, 3.2, 0.6, 5)),
        ("C", (-2.2, 3.6, -2.2, 1.4, 0.2, 1.5)),
        ("L", (-1.7, -0.8)),
        ("C", (-0.3, -2.0, -0.3, -3.4, -1.2, -5)),
        ("Z", ()),
    )
    return _shift_path(x, y, ops)


def flagged_rest(x: float, y: float, flags: int) -> tuple[Op, ...]:
    """An eighth rest (one flag), a sixteenth (two) and so on, centred: a slanted stem with dots on hooks."""
    high = 3.4 + 3.2 * flags
    top = -high / 2
    ops: list[Op] = [("M", (1.9, top)), ("L", (2.5, top)), ("L", (0.3, -top)), ("L", (-0.5, -top)), ("Z", ())]
    for k in range(flags):
        lean = -0.7 * k
        level = top + 0.7 + 3.2 * k
        ops += disc(-1.3 + lean, level, 1.05)
        ops += [
            ("M", (-1.5 + lean, level + 0.9)),
            ("C", (0.2 + lean, level + 1.5, 1.4 + lean, level + 0.8, 2.0 + lean, level - 0.4)),
            ("L", (1.7 + lean, level + 1.2)),
            ("C", (0.9 + lean, level + 2.0, -0.4 + lean, level + 2.0, -1.5 + lean, level + 0.9)),
            ("Z", ()),
        ]
    return _shift_path(x, y, tuple(ops))


def block_rest(x: float, y: float, hangs: bool) -> tuple[Op, ...]:
    """A whole rest (hangs from its little line) or a half rest (lies on it), centred."""
    low = (0.0, 2.6) if hangs else (-2.6, 0.0)
    ops: tuple[Op, ...] = (
        ("M", (-3, low[0])),
        ("L", (3, low[0])),
        ("L", (3, low[1])),
        ("L", (-3, low[1])),
        ("Z", ()),
        ("M", (-4.6, -0.25)),
        ("L", (4.6, -0.25)),
        ("L", (4.6, 0.25)),
        ("L", (-4.6, 0.25)),
        ("Z", ()),
    )
    return _shift_path(x, y, ops)


def repeat_bar(x: float, y: float) -> tuple[Op, ...]:
    """The sign for `the bar before once more`: a thick stroke between two dots, 16 points high, centred."""
    ops: tuple[Op, ...] = (
        ("M", (-8, 8)),
        ("L", (-4, 8)),
        ("L", (8, -8)),
        ("L", (4, -8)),
        ("Z", ()),
        *disc(-6, -4, 1.7),
        *disc(6, 4, 1.7),
    )
    return _shift_path(x, y, ops)


def fermata(x: float, y: float) -> tuple[Op, ...]:
    """A dot under a bow, 13 points wide, centred, its foot at y."""
    bow: tuple[Op, ...] = (
        ("M", (-6.5, 0)),
        ("C", (-6.0, -9.0, 6.0, -9.0, 6.5, 0)),
        ("C", (4.6, -6.6, -4.6, -6.6, -6.5, 0)),
        ("Z", ()),
    )
    return _shift_path(x, y, (*bow, *disc(0, -1.3, 1.3)))


def wedge(x: float, y: float) -> tuple[Op, ...]:
    """An accent, 6 points wide, centred, as an open line."""
    return (("M", (x - 3, y - 1.8)), ("L", (x + 3, y)), ("L", (x - 3, y + 1.8)))
