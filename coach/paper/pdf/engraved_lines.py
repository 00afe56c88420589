"""A line of tab planned from its bars: its columns and all that stands at them, at the least width it can have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.paper.durations import WrittenNote
from coach.paper.pdf.column_spacing import Cell, Step, column_positions
from coach.paper.pdf.engraved_bars import EngravedBar, LinePlan
from coach.paper.pdf.engraved_marks import claim_room, put_marks, put_plucks
from coach.paper.pdf.glyphs import BOLD, disc, repeat_bar
from coach.paper.pdf.layout import Item, draw_path, draw_rectangle, draw_rule, make_text
from coach.paper.pdf.stems import DOWN, LINE_GAP, STAFF, UP
from coach.song.piece import PieceBar

_STRINGS = tuple(f"string{s}" for s in range(1, 7))


@dataclass(frozen=True)
class BarSet:
    """A bar in its line: its columns by beat, and its voices; `like` when it only says that the bar before returns."""

    drawn: EngravedBar
    at: dict[Fraction, int]
    first: int
    last: int
    voices: tuple[tuple[WrittenNote, ...], tuple[WrittenNote, ...]]
    like: bool


@dataclass(frozen=True)
class TabLine:
    """A line that is ready to be placed: `natural` is the least width it can have."""

    steps: tuple[Step, ...]
    cells: tuple[Cell, ...]
    sets: tuple[BarSet, ...]
    natural: float


def plan_line(bars: Sequence[EngravedBar], group: str) -> TabLine:
    """Everything of these bars as one line, at its least width."""
    plan = LinePlan(group)
    start = plan.add_column(0.4)
    plan.put("staff", start, [draw_rule("barline", plan.group_name("staff"), 0, 0, 0, STAFF, 0.7)], (), 0)
    sign = plan.add_column(8)
    for k, letter in enumerate("TAB"):
        y = LINE_GAP * (1.5 + k) + 3.3
        text = make_text("clef", plan.group_name(f"clef{k}"), 0, y, letter, 9, BOLD, anchor=0.5)
        plan.put("staff", sign, [text], _STRINGS, 3)
    number = make_text("barnumber", plan.group_name("number"), 0, 0, str(bars[0].bar.part_bar + 1), 7)
    plan.put("number", start, [number], ("numbers",), 0)
    sets: list[BarSet] = []
    for k, each in enumerate(bars):
        before = bars[k - 1] if k else None
        like = before is not None and _repeats(each, before) and bool(each.bar.sounding)
        sets.append(_plan_bar(plan, each, before, like, k))
    _add_bar_line(plan, plan.add_column(0, _slot_width(bars[-1].bar)), bars[-1], None, last=True)
    natural = column_positions(plan.steps, plan.cells)[-1]
    return TabLine(tuple(plan.steps), tuple(plan.cells), tuple(sets), natural)


def _repeats(here: EngravedBar, before: EngravedBar) -> bool:
    """Whether a bar is played just as the one before it."""
    a, b = here.bar, before.bar
    if here.meter or here.tempo or here.note or here.waits or here.ending != before.ending:
        return False
    if (a.meter, a.beats, a.slots) != (b.meter, b.beats, b.slots):
        return False
    return a.held == b.held and not here.diagrams and plucks_without_bar(a) == plucks_without_bar(b)


def plucks_without_bar(bar: PieceBar) -> tuple[tuple[Fraction, int, int, str, str], ...]:
    """The bar's sounding plucks without the bar's number."""
    return tuple((p.beat, p.string, p.fret, p.finger, p.stress) for p in bar.sounding)


def _plan_bar(plan: LinePlan, each: EngravedBar, before: EngravedBar | None, like: bool, k: int) -> BarSet:
    first = len(plan.steps) - 1
    if before is not None:
        first = plan.add_column(0, _slot_width(before.bar))
        _add_bar_line(plan, first, before, None if each.meter else each)
    if each.meter:
        sign = plan.add_column(9)
        for half, text in enumerate((each.bar.meter.upper, each.bar.meter.lower)):
            group = plan.group_name(f"meter{k}{half}")
            digits = make_text("meter", group, 0, 18 + half * 16, str(text), 17, BOLD, anchor=0.5)
            plan.put("staff", sign, [digits], _STRINGS, 5)
    if each.opens and (each.meter or before is None):
        first = plan.add_column(8)
        _add_bar_line(plan, first, None, each)
    at = _add_columns(plan, each, after_sign=each.meter or before is None)
    last = len(plan.steps)
    set_ = BarSet(each, at, first, last, ((), ()) if like else each.voices, like)
    if like:
        sign_of_repeat = draw_path("like", plan.group_name(f"like{k}"), repeat_bar(0, STAFF / 2))
        plan.cells.append(_midway_cell("staff", set_, sign_of_repeat, k))
    else:
        put_plucks(plan, each.bar, at, k)
        for voice, side, track in zip(each.voices, (DOWN, UP), ("down", "up"), strict=True):
            claim_room(plan, voice, at, side, track, k)
    put_marks(plan, each, before, at, k)
    return set_


def _add_columns(plan: LinePlan, each: EngravedBar, after_sign: bool) -> dict[Fraction, int]:
    """A column for each instant of the bar, as far apart as time asks."""
    slot = each.bar.slot_beats
    wide = _slot_width(each.bar)
    at: dict[Fraction, int] = {}
    last: Fraction | None = None
    for beat in each.beats:
        if last is None:
            at[beat] = plan.add_column(12.5 if after_sign else 10.0)
        else:
            at[beat] = plan.add_column(0, float((beat - last) / slot) * wide)
        last = beat
    return at


def _slot_width(bar: PieceBar) -> float:
    """The least width of a slot: short ones are not as much narrower as they are shorter."""
    return min(10 + 7 * float(bar.slot_beats), 20.0)


def _add_bar_line(
    plan: LinePlan, column: int, before: EngravedBar | None, after: EngravedBar | None, *, last: bool = False
) -> None:
    """The bar line between two bars, with the repeat signs that belong to it; the `last` one ends at the margin."""
    group = plan.group_name("staff")
    closes, opens = before is not None and before.closes, after is not None and after.opens
    ends = before.ends if before is not None else ""
    items: list[Item] = []
    thick = closes or opens or ends == "piece"
    if thick:
        items.append(draw_rectangle("barline", group, -1.1, 0, 1.1, STAFF))
        for x in ([-3.6] if closes or ends == "piece" else []) + ([3.6] if opens else []):
            items.append(draw_rule("barline", group, x, 0, x, STAFF, 0.7))
        for x in ([-6.8] if closes else []) + ([6.8] if opens else []):
            items += [draw_path("repeatdot", group, disc(x, LINE_GAP * s, 1.3)) for s in (1.5, 3.5)]
    elif ends == "part":
        items += [draw_rule("barline", group, x, 0, x, STAFF, 0.7) for x in (-2.2, 0)]
    else:
        items.append(draw_rule("barline", group, 0, 0, 0, STAFF, 0.7))
    if last and thick:
        items = [item.moved(-1.1, 0) for item in items]
    plan.put("staff", column, items, _STRINGS, 3)


def _midway_cell(lane: str, set_: BarSet, item: Item, k: int) -> Cell:
    return Cell(lane, set_.first, (item,), (), item.box.left, item.box.right, 0, until=set_.last)
