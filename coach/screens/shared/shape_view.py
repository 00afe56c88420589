"""A left-hand shape drawn upright, as it hangs before the player: six strings, four frets, finger numbers.

G             name
6 5 4 3 2 1   is not drawn; marks over the nut: x muted, o open
┌─┬─┬─┬─┬─┐
│ 1 │ │ │ │
2 │ │ │ │ 3
│ │ │ │ │ │
r f a         which strings the thumb has
"""

from __future__ import annotations

from coach.guitar.bass import Bass
from coach.guitar.shape import Shape

FRETS = 4
WIDTH, HEIGHT = 14, 8


def shape_rows(name: str, shape: Shape | None, bass: Bass | None, count: int = FRETS) -> tuple[str, ...]:
    """HEIGHT rows with FRETS frets, or more for a larger `count`, at most WIDTH wide. Without a shape only the name."""
    if shape is None:
        return (name, *[""] * (HEIGHT - FRETS + count - 1))
    frets = [f for f in shape.frets if f]
    highest = max(frets, default=0)
    base = 1 if highest <= count else min(frets)
    marks = " ".join("x" if f is None else "o" if f == 0 else " " for f in shape.frets)
    nut = "╒═╤═╤═╤═╤═╕" if base == 1 else "┌─┬─┬─┬─┬─┐"
    rows = [name, marks, nut]
    for fret in range(base, base + count):
        cells = [
            (finger if finger not in "." else "●") if held == fret else "│"
            for held, finger in zip(shape.frets, shape.fingers, strict=True)
        ]
        label = f" {base}" if fret == base and base > 1 else ""
        rows.append(" ".join(cells) + label)
    roles = {bass.f: "f", bass.a: "a", bass.r: "r"} if bass else {}
    rows.append(" ".join(roles.get(string, " ") for string in (6, 5, 4, 3, 2, 1)))
    return tuple(row.rstrip() for row in rows)
