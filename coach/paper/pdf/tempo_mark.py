"""The tempo mark: a note and how many of it a minute has."""

from __future__ import annotations

from fractions import Fraction

from coach.music.meter import Meter
from coach.paper.pdf.glyphs import BOLD, disc
from coach.paper.pdf.layout import Item, drawn, rule, words


def tempo_mark(bpm: Fraction, meter: Meter, group: str, x: float, y: float, size: float) -> list[Item]:
    """A quarter note (dotted where three eighths are a beat) `= bpm`, with its baseline at y."""
    unit = size / 9
    head = (
        ("M", (x, y - 1.6 * unit)),
        ("C", (x + 0.4 * unit, y - 4.4 * unit, x + 5.6 * unit, y - 4.6 * unit, x + 5.2 * unit, y - 2.2 * unit)),
        ("C", (x + 4.8 * unit, y + 0.6 * unit, x - 0.4 * unit, y + 0.8 * unit, x, y - 1.6 * unit)),
        ("Z", ()),
    )
    stem_x = x + 4.9 * unit
    items: list[Item] = [
        drawn("tempo", group, head),
        rule("tempo", group, stem_x, y - 2.2 * unit, stem_x, y - 9.5 * unit, 0.7 * unit),
    ]
    end = x + 6.5 * unit
    if meter.compound:
        items.append(drawn("tempo", group, disc(x + 7.4 * unit, y - 2 * unit, 0.9 * unit)))
        end = x + 9.5 * unit
    said = str(bpm) if bpm.denominator == 1 else f"{float(bpm):.1f}".removesuffix(".0")
    items.append(words("tempo", group, end + 2, y, f"= {said}", size, BOLD))
    return items
