"""A left-hand shape as a diagram: upright, six strings, four frets or more, dots, barre and finger numbers below."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

from coach.errors import BadShape
from coach.guitar.choices import add_fingers
from coach.guitar.shape import Shape
from coach.paper.pdf.glyphs import BOLD, REGULAR, disc
from coach.paper.pdf.layout import Item, LayoutBlock, draw_path, draw_rectangle, draw_rule, fit_text, make_text

FRETS = 4
_STRING, _FRET, _DOT = 6.6, 7.8, 2.7
_NAME, _APART = 11.5, 62.0
_MARKS, _FINGERS = 7.5, 8.5  # room above for open and muted strings, below for finger numbers


def draw_diagram(shape: Shape, group: str) -> tuple[Item, ...]:
    """The diagram as items of one group, upper left near (0, 0); fingers are worked out where none are said."""
    return tuple(_diagram_items(_with_fingers(shape), group))


def shape_rows(shapes: Sequence[tuple[str, Shape]], room: float, group: str) -> tuple[LayoutBlock, ...]:
    """Named shapes side by side, in rows of as many as `room` points hold; each row a block that keeps to the next."""
    across = max(int((room + 20) / _APART), 1)
    return tuple(_make_row(shapes[k : k + across], f"{group}-{k}") for k in range(0, len(shapes), across))


def _make_row(shapes: Sequence[tuple[str, Shape]], group: str) -> LayoutBlock:
    items: list[Item] = []
    for k, (name, shape) in enumerate(shapes):
        x = k * _APART
        items.append(fit_text("chord", f"{group}-name{k}", x, _NAME - 1, name, _NAME, _APART - 8, BOLD))
        items += [item.moved(x, _NAME + 3) for item in draw_diagram(shape, f"{group}-{k}")]
    return LayoutBlock(tuple(items), max(item.box.bottom for item in items) + 2, keep=True, apart=7)


@cache
def _with_fingers(shape: Shape) -> Shape:
    try:
        return add_fingers(shape)
    except BadShape:  # a pinned one that no hand can finger: dots without numbers
        return shape


def _diagram_items(shape: Shape, group: str) -> Iterator[Item]:
    frets = [f for f in shape.frets if f]
    count = max(FRETS, max(frets, default=1) - min(frets, default=1) + 1)
    base = 1 if max(frets, default=0) <= count else min(frets)
    left, top = _DOT, _MARKS
    right, bottom = left + 5 * _STRING, top + count * _FRET
    for k in range(6):
        x = left + k * _STRING
        yield draw_rule("diagram", group, x, top, x, bottom, 0.5)
    for k in range(count + 1):
        yield draw_rule("diagram", group, left - 0.25, top + k * _FRET, right + 0.25, top + k * _FRET, 0.5)
    if base == 1:
        yield draw_rectangle("diagram", group, left - 0.25, top - 1.6, right + 0.25, top)
    else:
        yield make_text("diagramfret", group, right + 4, top + _FRET / 2 + 2.7, f"fr {base}", 7, REGULAR)
    for k, fret in enumerate(shape.frets):
        x = left + k * _STRING
        if fret is None:
            y, r = top - 4.6, 1.9
            yield draw_path("muted", group, (("M", (x - r, y - r)), ("L", (x + r, y + r))), 0.7)
            yield draw_path("muted", group, (("M", (x - r, y + r)), ("L", (x + r, y - r))), 0.7)
        elif fret == 0:
            yield draw_path("open", group, disc(x, top - 4.6, 1.9), 0.6)
        else:
            y = top + (fret - base + 0.5) * _FRET
            yield draw_path("dot", group, disc(x, y, _DOT))
            if shape.fingers[k] != ".":
                yield make_text(
                    "diagramfinger", group, x, bottom + _FINGERS - 1, shape.fingers[k], 7.5, BOLD, anchor=0.5
                )
    for fret, first, last in find_barres(shape):
        y = top + (fret - base + 0.5) * _FRET
        yield draw_rectangle(
            "barre", group, left + first * _STRING, y - _DOT * 0.8, left + last * _STRING, y + _DOT * 0.8
        )


def find_barres(shape: Shape) -> tuple[tuple[int, int, int], ...]:
    """Fingers that lie over several strings, as (fret, first, last) with strings as places 0 (string 6) to 5."""
    barres_ = []
    for finger in "1234":
        places = [k for k, f in enumerate(shape.fingers) if f == finger]
        if len(places) > 1:
            barres_.append((shape.frets[places[0]] or 0, places[0], places[-1]))
    return tuple(barres_)
