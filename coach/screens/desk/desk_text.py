"""What the desk shows, as pure functions of it."""

from __future__ import annotations

from textwrap import wrap

from rich.text import Text

from coach.screens.desk.desk_model import Desk
from coach.screens.shared.shape_view import HEIGHT, WIDTH, shape_rows

COLUMN = WIDTH + 1


def sum_words(desk: Desk) -> str:
    """Key, capo and cost in one line."""
    guessed = " (guessed)" if desk.guessed else ""
    capo = f", capo {desk.capo}" if desk.capo else ""
    eased = "hardest change eased" if desk.minimax else "least work in all"
    return f"{desk.key.title}{guessed}{capo} · {eased}: {desk.route.cost:.1f}"


def shapes_text(desk: Desk, width: int) -> Text:
    """The shapes of the route side by side, as many as fit, the chord looked at among them and marked."""
    chords = desk.chords
    fit = max(width // COLUMN, 1)
    first = min(max(desk.at - fit // 2, 0), max(len(chords) - fit, 0))
    shown = range(first, min(first + fit, len(chords)))
    rows = [Text() for _ in range(HEIGHT + 2)]
    for at in shown:
        grip, chosen = desk.route.grips[at], at == desk.at
        name = str(chords[at] or "N")
        drawn = shape_rows(name, grip.shape if grip else None, grip.bass if grip else None)
        mark = "▸" if chosen else " "
        rows[0].append(f"{mark}{desk.numerals[at]}".ljust(COLUMN)[:COLUMN], "bold" if chosen else "dim")
        for row, text in zip(rows[1:], drawn, strict=False):
            row.append(text.ljust(COLUMN)[:COLUMN], "bold" if chosen else "")
        pinned = " yours" if at in desk.pins else ""
        count = f"{desk.option + 1} of {len(desk.options)}" if chosen and grip and desk.option >= 0 else ""
        rows[-1].append(f"{count}{pinned}".strip().ljust(COLUMN)[:COLUMN], "bold" if chosen else "dim")
    return Text("\n").join(rows)


def places_text(desk: Desk, taken: int, rows: int, width: int) -> str:
    """The ranked keys, and why for the one that was taken (or the best)."""
    lines = ["keys: shapes, capo, sounding, score"]
    why = wrap("; ".join(desk.places[max(taken, 0)].why), width - 3) if desk.places else []
    few = max(min(rows - 2 - min(len(why), 4), len(desk.places)), 1)
    first = min(max(taken - few // 2, 0), max(len(desk.places) - few, 0))
    for at in range(first, min(first + few, len(desk.places))):
        place = desk.places[at]
        mark = "▸" if at == taken else " "
        shapes, sounds = str(place.shape_key), str(place.sounding_key)
        lines.append(f"{mark}{shapes:<4} capo {place.capo:<2} sounds {sounds:<4} {place.score:5.1f}")
    return "\n".join([*lines, "", *why][:rows])


def change_words(desk: Desk, width: int) -> str:
    """What the hand does on the way to the chord looked at, and what its shape costs."""
    count = len(desk.chords)
    if count < 2:
        return ""
    change = desk.route.changes[(desk.at - 1) % count]
    before = desk.chords[(desk.at - 1) % count]
    text = f"from {before or 'N'}: {change}"
    grip = desk.route.grips[desk.at]
    if grip is not None and grip.parts:
        heavy = sorted(grip.parts, key=lambda part: -part[1])[:3]
        text += f" · the shape costs {grip.cost:.1f}: " + ", ".join(f"{name} {cost:.1f}" for name, cost in heavy)
    return "\n".join(wrap(text, width)[:2])
