"""The blank practice record: drills down, days across; in each square room for a tempo and a ring round a verdict."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coach.paper.pdf.document import PdfSheet, print_pages
from coach.paper.pdf.glyphs import BOLD, ITALIC, REGULAR
from coach.paper.pdf.layout import (
    MARGIN_BOTTOM,
    MARGIN_TOP,
    PAPERS,
    Item,
    LayoutBlock,
    check_paper,
    draw_rectangle,
    draw_rule,
    fit_text,
    make_text,
    text_width,
    wrap_text,
)
from coach.paper.pdf.page_flow import Document, flow_blocks

_NAMES, _LEAST_ROW, _BLANKS = 118.0, 52.0, 10


def make_record_pdf(
    drills: Sequence[str] = (), *, verdicts: Sequence[str], cautions: Sequence[str], days: int = 7, paper: str = "a4"
) -> PdfSheet:
    """A sheet to fill in by hand: `drills` (blank rows where there are none) over `days` columns.

    verdicts   the words for how it went, worst to best; cautions: sentences printed below
    Raises BadInput for an unknown `paper` (a4, letter).
    """
    return print_pages(record_pages(drills, verdicts=verdicts, cautions=cautions, days=days, paper=paper))


def record_pages(
    drills: Sequence[str] = (), *, verdicts: Sequence[str], cautions: Sequence[str], days: int = 7, paper: str = "a4"
) -> Document:
    """The pages of `make_record_pdf` as values."""
    paper = check_paper(paper)
    room = text_width(paper)
    title = "Practice record"
    foot = _caution_block(cautions, room)
    free = PAPERS[paper][1] - MARGIN_TOP - MARGIN_BOTTOM - foot.height - foot.apart - _HEAD
    count = max(1, min(_BLANKS, int(free / _LEAST_ROW)))
    names = list(drills) or [""] * count
    blocks = []
    for k in range(0, len(names), count):
        rows = names[k : k + count]
        rows += [""] * (count - len(rows))
        blocks.append(_draw_grid(title, rows, verdicts, days, room, free / count, k))
        blocks.append(foot)
    return flow_blocks(blocks, paper, title, "A blank record of practice")


_HEAD = 62.0


def _draw_grid(
    title: str, names: Sequence[str], verdicts: Sequence[str], days: int, room: float, row: float, page: int
) -> LayoutBlock:
    """One page's table under its title."""
    items: list[Item] = [make_text("title", f"title{page}", 0, 17, title, 21, BOLD)]
    week = "Week of  . . . . . . . . . . . . . . . ."
    items.append(make_text("about", f"from{page}", room, 17, week, 9.5, REGULAR, 1.0))
    said = f"In each square: the tempo in bpm, and a ring round the word for how it went: {' · '.join(verdicts)}."
    items.append(fit_text("about", f"about{page}", 0, 36, said, 9, room, ITALIC))
    column = (room - _NAMES) / days
    top = _HEAD - 4.0
    items += [make_text("head", f"drill{page}", 3, top - 5, "Drill", 9.5, BOLD)]
    for day in range(days):
        x = _NAMES + (day + 0.5) * column
        items.append(make_text("head", f"day{page}-{day}", x, top - 5, f"Day {day + 1}", 9.5, BOLD, 0.5))
    bottom = top + row * len(names)
    grid = f"grid{page}"
    for k in range(len(names) + 1):
        items.append(draw_rule("grid", grid, 0.3, top + k * row, room - 0.3, top + k * row, 0.9 if k == 0 else 0.5))
    for x in [0.3, *(_NAMES + day * column for day in range(days)), room - 0.3]:
        items.append(draw_rule("grid", grid, x, top, x, bottom, 0.5))
    for k, name in enumerate(names):
        y = top + k * row
        lines = wrap_text("drill", f"name{page}-{k}", name, 9.5, _NAMES - 8, REGULAR)[:3] if name else ()
        items += [line.moved(4, y + 5) for line in lines]
        for day in range(days):
            items += _draw_square(_NAMES + day * column, y, column, row, verdicts, f"{page}-{k}-{day}")
    return LayoutBlock(tuple(items), bottom + 1, keep=True, fresh=page > 0, marks=((0, title),) if not page else ())


def _draw_square(
    x: float, y: float, wide: float, high: float, verdicts: Sequence[str], name: str
) -> Iterator[Item]:
    """Room for a tempo, with the verdict words small below."""
    yield make_text("unit", f"unit{name}", x + wide - 4, y + 12, "bpm", 6.5, REGULAR, 1.0)
    yield draw_rectangle("dash", f"dash{name}", x + 5, y + 13.5, x + wide - 20, y + 13.9, 0.5)
    each = min(9.0, (high - 20) / max(1, len(verdicts)))
    for k, word in enumerate(verdicts):
        base = y + high - 4.5 - (len(verdicts) - 1 - k) * each
        yield fit_text("verdict", f"verdict{name}-{k}", x + 6, base, word, 7, wide - 9)


def _caution_block(cautions: Sequence[str], room: float) -> LayoutBlock:
    lines = wrap_text("caution", "caution", " ".join(cautions), 8.5, room) if cautions else ()
    return LayoutBlock(lines, lines[-1].box.bottom if lines else 0.0, apart=10)
