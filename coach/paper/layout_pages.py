"""How blocks flow onto pages: what stays together, where a new page begins, and the line at each page's foot."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from coach.paper.layout import (
    MARGIN_BOTTOM,
    MARGIN_LEFT,
    MARGIN_RIGHT,
    MARGIN_TOP,
    PAPERS,
    Block,
    Item,
    fitted,
    rule,
    text_width,
    words,
)


@dataclass(frozen=True)
class Page:
    """A page's items, and outline marks as (level, title, y)."""

    items: tuple[Item, ...]
    marks: tuple[tuple[int, str, float], ...] = ()


@dataclass(frozen=True)
class Leaves:
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


@dataclass
class _Stack:
    """A page being filled."""

    items: list[Item] = field(default_factory=list)
    marks: list[tuple[int, str, float]] = field(default_factory=list)
    y: float = MARGIN_TOP


def flow(blocks: Sequence[Block], paper: str, title: str, subject: str = "", foot: str = "") -> Leaves:
    """Stack blocks onto pages; `foot` stands small at the foot of each, beside title and page number."""
    bottom = PAPERS[paper][1] - MARGIN_BOTTOM
    stacks = [_Stack()]
    for chain in _chains(blocks):
        here = stacks[-1]
        need = sum(b.height + (b.apart if k else 0.0) for k, b in enumerate(chain))
        want = max(need, min(max(b.want for b in chain), bottom - MARGIN_TOP))
        top = here.y + chain[0].apart
        # A part that would fit on a page of its own is not torn, unless that left much of this one white.
        crowded = top + want > bottom and here.y > MARGIN_TOP + 0.7 * (bottom - MARGIN_TOP)
        if here.items and (chain[0].fresh or top + need > bottom or crowded):
            stacks.append(_Stack())
            here = stacks[-1]
        for block in chain:
            if here.items:
                here.y += block.apart
            here.items += [item.moved(MARGIN_LEFT, here.y) for item in block.items]
            here.marks += [(*mark, here.y) for mark in block.marks]
            here.y += block.height
    pages = tuple(
        Page((*stack.items, *_footer(paper, title, foot, k + 1, len(stacks))), tuple(stack.marks))
        for k, stack in enumerate(stacks)
    )
    return Leaves(paper, pages, title, subject, sum(b.bars for b in blocks))


def _chains(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    """Blocks that must share a page, in order: each that keeps to the next, and that next one."""
    chain: list[Block] = []
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
    right = words("page", "foot-page", wide - MARGIN_RIGHT, y, f"{number} / {count}", 8, anchor=1)
    yield rule("footrule", "foot-rule", MARGIN_LEFT, y - 10, wide - MARGIN_RIGHT, y - 10, 0.4, 0.4)
    left = fitted("foot", "foot-title", MARGIN_LEFT, y, title, 8, text_width(paper) * (0.4 if foot else 0.8))
    yield left
    if foot:
        room = right.box.left - left.box.right - 24
        yield fitted("caution", "foot-caution", (left.box.right + right.box.left) / 2, y, foot, 7.5, room, anchor=0.5)
    yield right
