"""Layout values: texts and paths with their boxes, and blocks of them that stay together on a page.

Everything is in points (1/72 inch) from the left and top edge of the page, y growing downwards. Nothing here draws:
a painter turns the values into a file, a test looks at their boxes.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass, replace

from coach.errors import BadInput
from coach.paper.pdf.glyphs import REGULAR, Op, depth, height, width

# Paper sizes in points: ISO 216 A4 (210 x 297 mm) and US Letter (8.5 x 11 inches, ANSI/ASME Y14.1).
PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
MARGIN_LEFT, MARGIN_RIGHT, MARGIN_TOP, MARGIN_BOTTOM = 42.0, 42.0, 34.0, 44.0


@dataclass(frozen=True)
class Box:
    """A rectangle that an item keeps for itself."""

    left: float
    top: float
    right: float
    bottom: float

    def moved(self, dx: float, dy: float) -> Box:
        """The same box elsewhere."""
        return Box(self.left + dx, self.top + dy, self.right + dx, self.bottom + dy)

    def scaled(self, by: float) -> Box:
        """The box grown from the origin."""
        return Box(self.left * by, self.top * by, self.right * by, self.bottom * by)

    def meets(self, other: Box, slack: float = 0.0) -> bool:
        """Whether the two share more than `slack` points in both directions."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.bottom, other.bottom) - max(self.top, other.top)
        return wide > slack and high > slack


@dataclass(frozen=True)
class Item(ABC):
    """Something placed. Items of one `group` may touch each other (a stem its beam), others never."""

    kind: str
    group: str
    box: Box

    @abstractmethod
    def moved(self, dx: float, dy: float) -> Item:
        """The same item elsewhere."""

    @abstractmethod
    def scaled(self, by: float) -> Item:
        """The item grown from the origin."""


@dataclass(frozen=True)
class Text(Item):
    """Words on a baseline that starts at (x, y)."""

    x: float
    y: float
    text: str
    font: str
    size: float
    grey: float = 0.0

    def moved(self, dx: float, dy: float) -> Text:
        """The same words elsewhere."""
        box = self.box.moved(dx, dy)
        return Text(self.kind, self.group, box, self.x + dx, self.y + dy, self.text, self.font, self.size, self.grey)

    def scaled(self, by: float) -> Text:
        """The words in another size."""
        return replace(self, x=self.x * by, y=self.y * by, size=self.size * by, box=self.box.scaled(by))


@dataclass(frozen=True)
class Path(Item):
    """A drawn line (`line` points wide) or, with line 0, a filled shape; grey 0 is black, 1 white."""

    ops: tuple[Op, ...]
    line: float = 0.0
    grey: float = 0.0

    def moved(self, dx: float, dy: float) -> Path:
        """The same path elsewhere."""
        ops = tuple((o, tuple(v + (dy if k % 2 else dx) for k, v in enumerate(at))) for o, at in self.ops)
        return Path(self.kind, self.group, self.box.moved(dx, dy), ops, self.line, self.grey)

    def scaled(self, by: float) -> Path:
        """The path in another size."""
        ops = tuple((o, tuple(v * by for v in at)) for o, at in self.ops)
        return replace(self, ops=ops, line=self.line * by, box=self.box.scaled(by))


def make_text(
    kind: str, group: str, x: float, y: float, text: str, size: float, font: str = REGULAR, anchor: float = 0.0
) -> Text:
    """Text with its baseline at y; `anchor` is the share of its width left of x: 0 starts there, 1/2 is centred."""
    text = " ".join(text.split())
    wide = width(text, font, size)
    left = x - anchor * wide
    box = Box(left, y - height(text, size), left + wide, y + depth(text, size))
    return Text(kind, group, box, left, y, text, font, size)


def draw_rule(
    kind: str, group: str, x1: float, y1: float, x2: float, y2: float, line: float = 0.5, grey: float = 0
) -> Path:
    """A straight line."""
    half = line / 2
    box = Box(min(x1, x2) - half, min(y1, y2) - half, max(x1, x2) + half, max(y1, y2) + half)
    return Path(kind, group, box, (("M", (x1, y1)), ("L", (x2, y2))), line, grey)


def draw_rectangle(
    kind: str, group: str, left: float, top: float, right: float, bottom: float, grey: float = 0.0
) -> Path:
    """A filled rectangle: a beam, a thick bar line."""
    ops = (("M", (left, top)), ("L", (right, top)), ("L", (right, bottom)), ("L", (left, bottom)), ("Z", ()))
    return Path(kind, group, Box(left, top, right, bottom), ops, 0.0, grey)


def draw_path(kind: str, group: str, ops: Iterable[Op], line: float = 0.0, grey: float = 0.0) -> Path:
    """A path whose box is that of its points (control points of a curve lie outside of it or on its edge)."""
    ops = tuple(ops)
    xs = [v for _, at in ops for v in at[0::2]]
    ys = [v for _, at in ops for v in at[1::2]]
    half = line / 2
    return Path(kind, group, Box(min(xs) - half, min(ys) - half, max(xs) + half, max(ys) + half), ops, line, grey)


@dataclass(frozen=True)
class LayoutBlock:
    """Things that stay together on a page, placed from (0, 0); `height` is what they take.

    keep      it never stands last on a page: it goes along with the block after it
    apart     free space above, dropped at the top of a page
    marks     (level, title) of its lines in the outline
    fresh     it begins a page
    want      space that should be left on the page, else a new one is begun: a part's own height, if a page holds it
    bars      how many bars it has engraved
    """

    items: tuple[Item, ...]
    height: float
    keep: bool = False
    apart: float = 0.0
    marks: tuple[tuple[int, str], ...] = ()
    fresh: bool = False
    want: float = 0.0
    bars: int = 0


def check_paper(paper: str) -> str:
    """`paper` in small letters if it is a size known here. Raises BadInput."""
    if paper.lower() not in PAPERS:
        raise BadInput(f"'{paper}' is not a paper size known here", mend="use one of " + ", ".join(PAPERS))
    return paper.lower()


def text_width(paper: str) -> float:
    """Points between the margins."""
    return PAPERS[paper][0] - MARGIN_LEFT - MARGIN_RIGHT


def fit_text(
    kind: str,
    group: str,
    x: float,
    y: float,
    text: str,
    size: float,
    room: float,
    font: str = REGULAR,
    anchor: float = 0.0,
) -> Text:
    """Text made smaller, to seven tenths, and then cut with `…`, until it fits into `room` points."""
    text = " ".join(text.split())
    wide = width(text, font, size)
    if wide > room:
        size = max(size * 0.7, size * room / wide)
        whole = text
        while text and width(text, font, size) > room:
            whole = whole[:-1]
            text = whole.rstrip() + "…"
            if not whole:
                break
    return make_text(kind, group, x, y, text, size, font, anchor)


def wrap_text(kind: str, group: str, text: str, size: float, room: float, font: str = REGULAR) -> tuple[Text, ...]:
    """Text set in lines of `room` points, the first baseline one size below 0; a line is 1.25 sizes high."""
    lines: list[str] = []
    for word in text.split():
        if lines and width(f"{lines[-1]} {word}", font, size) <= room:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return tuple(
        fit_text(kind, f"{group}-{k}", 0, size + k * size * 1.25, line, size, room, font)
        for k, line in enumerate(lines)
    )
