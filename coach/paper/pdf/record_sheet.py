"""The blank practice record: drills down, days across; in each square room for a tempo and a ring round a verdict."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coach.paper.pdf.document import Sheet, printed
from coach.paper.pdf.glyphs import BOLD, ITALIC, REGULAR
from coach.paper.pdf.layout import (
    MARGIN_BOTTOM,
    MARGIN_TOP,
    PAPERS,
    Block,
    Item,
    bar,
    check_paper,
    fitted,
    rule,
    text_width,
    words,
    wrapped,
)
from coach.paper.pdf.page_flow import Leaves, flow

_NAMES, _LEAST_ROW, _BLANKS = 118.0, 52.0, 10


def record_pdf(
    drills: Sequence[str] = (), *, verdicts: Sequence[str], cautions: Sequence[str], days: int = 7, paper: str = "a4"
) -> Sheet:
    """A sheet to fill in by hand: `drills` (blank rows where there are none) over `days` columns.

    verdicts   the words for how it went, worst to best; cautions: sentences printed below
    Raises BadInput for an unknown `paper` (a4, letter).
    """
    return printed(record_leaves(drills, verdicts=verdicts, cautions=cautions, days=days, paper=paper))


def record_leaves(
    drills: Sequence[str] = (), *, verdicts: Sequence[str], cautions: Sequence[str], days: int = 7, paper: str = "a4"
) -> Leaves:
    """The pages of `record_pdf` as values."""
    paper = check_paper(paper)
    room = text_width(paper)
    title = "Practice record"
    foot = _cautions(cautions, room)
    free = PAPERS[paper][1] - MARGIN_TOP - MARGIN_BOTTOM - foot.height - foot.apart - _HEAD
    count = max(1, min(_BLANKS, int(free / _LEAST_ROW)))
    names = list(drills) or [""] * count
    blocks = []
    for k in range(0, len(names), count):
        rows = names[k : k + count]
        rows += [""] * (count - len(rows))
        blocks.append(_grid(title, rows, verdicts, days, room, free / count, k))
        blocks.append(foot)
    return flow(blocks, paper, title, "A blank record of practice")


_HEAD = 62.0


def _grid(
    title: str, names: Sequence[str], verdicts: Sequence[str], days: int, room: float, row: float, page: int
) -> Block:
    """One page's table under its title."""
    items: list[Item] = [words("title", f"title{page}", 0, 17, title, 21, BOLD)]
    items.append(words("about", f"from{page}", room, 17, "Week of  . . . . . . . . . . . . . . . .", 9.5, REGULAR, 1.0))
    said = f"In each square: the tempo in bpm, and a ring round the word for how it went: {' · '.join(verdicts)}."
    items.append(fitted("about", f"about{page}", 0, 36, said, 9, room, ITALIC))
    column = (room - _NAMES) / days
    top = _HEAD - 4.0
    items += [words("head", f"drill{page}", 3, top - 5, "Drill", 9.5, BOLD)]
    for day in range(days):
        x = _NAMES + (day + 0.5) * column
        items.append(words("head", f"day{page}-{day}", x, top - 5, f"Day {day + 1}", 9.5, BOLD, 0.5))
    bottom = top + row * len(names)
    grid = f"grid{page}"
    for k in range(len(names) + 1):
        items.append(rule("grid", grid, 0.3, top + k * row, room - 0.3, top + k * row, 0.9 if k == 0 else 0.5))
    for x in [0.3, *(_NAMES + day * column for day in range(days)), room - 0.3]:
        items.append(rule("grid", grid, x, top, x, bottom, 0.5))
    for k, name in enumerate(names):
        y = top + k * row
        lines = wrapped("drill", f"name{page}-{k}", name, 9.5, _NAMES - 8, REGULAR)[:3] if name else ()
        items += [line.moved(4, y + 5) for line in lines]
        for day in range(days):
            items += _square(_NAMES + day * column, y, column, row, verdicts, f"{page}-{k}-{day}")
    return Block(tuple(items), bottom + 1, keep=True, fresh=page > 0, marks=((0, title),) if not page else ())


def _square(
    x: float, y: float, wide: float, high: float, verdicts: Sequence[str], name: str
) -> Iterator[Item]:
    """Room for a tempo, with the verdict words small below."""
    yield words("unit", f"unit{name}", x + wide - 4, y + 12, "bpm", 6.5, REGULAR, 1.0)
    yield bar("dash", f"dash{name}", x + 5, y + 13.5, x + wide - 20, y + 13.9, 0.5)
    each = min(9.0, (high - 20) / max(1, len(verdicts)))
    for k, word in enumerate(verdicts):
        base = y + high - 4.5 - (len(verdicts) - 1 - k) * each
        yield fitted("verdict", f"verdict{name}-{k}", x + 6, base, word, 7, wide - 9)


def _cautions(cautions: Sequence[str], room: float) -> Block:
    lines = wrapped("caution", "caution", " ".join(cautions), 8.5, room) if cautions else ()
    return Block(lines, lines[-1].box.bottom if lines else 0.0, apart=10)
