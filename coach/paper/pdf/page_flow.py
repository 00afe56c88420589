"""Page breaks: blocks flow onto pages, with what stays together, where a page begins, and the line at its foot."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from coach.paper.pdf.layout import (
    MARGIN_BOTTOM,
    MARGIN_LEFT,
    MARGIN_RIGHT,
    MARGIN_TOP,
    PAPERS,
    Item,
    LayoutBlock,
    draw_rule,
    fit_text,
    make_text,
    text_width,
)


@dataclass(frozen=True)
class Page:
    """A page's items, and outline marks as (level, title, y)."""

    items: tuple[Item, ...]
    marks: tuple[tuple[int, str, float], ...] = ()


@dataclass(frozen=True)
class Document:
    """A finished document: pages of one size with what is said about it."""

    paper: str
    pages: tuple[Page, ...]
    title: str
    subject: str = ""
    bars: int = 0

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of a page in points."""
        return PAPERS[self.paper]


_MOST_SPREAD = 8.0  # points that may come between two blocks of a page with room left


@dataclass
class _OpenPage:
    """A page being filled: its blocks with the heights at which they begin."""

    blocks: list[tuple[LayoutBlock, float]] = field(default_factory=list)
    y: float = MARGIN_TOP

    def page(self, room: float) -> tuple[list[Item], list[tuple[int, str, float]]]:
        """Its items and marks, `room` points that are left spread between blocks that need not stay together."""
        gaps = sum(1 for block, _ in self.blocks[:-1] if not block.keep)
        each, down = min(_MOST_SPREAD, room / gaps) if gaps else 0.0, 0.0
        items: list[Item] = []
        marks: list[tuple[int, str, float]] = []
        for block, y in self.blocks:
            items += [item.moved(MARGIN_LEFT, y + down) for item in block.items]
            marks += [(*mark, y + down) for mark in block.marks]
            down += 0.0 if block.keep else each
        return items, marks


def flow_blocks(blocks: Sequence[LayoutBlock], paper: str, title: str, subject: str = "", foot: str = "") -> Document:
    """Stack blocks onto pages; `foot` stands small at the foot of each, beside title and page number."""
    bottom = PAPERS[paper][1] - MARGIN_BOTTOM
    stacks = [_OpenPage()]
    for chain in _split_chains(blocks):
        here = stacks[-1]
        need = sum(b.height + (b.apart if k else 0.0) for k, b in enumerate(chain))
        want = max(need, min(max(b.want for b in chain), bottom - MARGIN_TOP))
        top = here.y + chain[0].apart
        # A part that would fit on a page of its own is not torn, unless that left much of this one white.
        crowded = top + want > bottom and here.y > MARGIN_TOP + 0.7 * (bottom - MARGIN_TOP)
        if here.blocks and (chain[0].fresh or top + need > bottom or crowded):
            stacks.append(_OpenPage())
            here = stacks[-1]
        for block in chain:
            if here.blocks:
                here.y += block.apart
            here.blocks.append((block, here.y))
            here.y += block.height
    pages = []
    for k, stack in enumerate(stacks):
        # A page on which a piece ends stays as it is.
        full = k + 1 < len(stacks) and not stacks[k + 1].blocks[0][0].fresh
        items, marks = stack.page(bottom - stack.y if full else 0.0)
        pages.append(Page((*items, *_footer(paper, title, foot, k + 1, len(stacks))), tuple(marks)))
    return Document(paper, tuple(pages), title, subject, sum(b.bars for b in blocks))


def _split_chains(blocks: Sequence[LayoutBlock]) -> Iterator[list[LayoutBlock]]:
    """Blocks that must share a page, in order: each that keeps to the next, and that next one."""
    chain: list[LayoutBlock] = []
    for block in blocks:
        chain.append(block)
        if not block.keep:
            yield chain
            chain = []
    if chain:
        yield chain


def _footer(paper: str, title: str, foot: str, number: int, count: int) -> Iterator[Item]:
    wide, high = PAPERS[paper]
    y = high - MARGIN_BOTTOM + 18
    right = make_text("page", "foot-page", wide - MARGIN_RIGHT, y, f"{number} / {count}", 8, anchor=1)
    yield draw_rule("footrule", "foot-rule", MARGIN_LEFT, y - 10, wide - MARGIN_RIGHT, y - 10, 0.4, 0.4)
    left = fit_text("foot", "foot-title", MARGIN_LEFT, y, title, 8, text_width(paper) * (0.4 if foot else 0.8))
    yield left
    if foot:
        room = right.box.left - left.box.right - 24
        yield fit_text("caution", "foot-caution", (left.box.right + right.box.left) / 2, y, foot, 7.5, room, anchor=0.5)
    yield right
