"""Engraving: bars of a piece broken into lines of tab, and everything on a line placed.

From top to bottom a line has, where there is something to show: what changes (tempo, layer), shape diagrams, chord
names, the fingers' letters, accents, tuplets and stems; the staff with fret numbers cut into its lines; then the same
of the thumb, the count, breaths and words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from coach.paper.pdf.column_spacing import MOST_STRETCH, break_lines, spread_columns
from coach.paper.pdf.engraved_bars import EngravedBar
from coach.paper.pdf.engraved_lines import TabLine, plan_line
from coach.paper.pdf.engraved_marks import WORD
from coach.paper.pdf.layout import Item, LayoutBlock, Text, draw_rule, make_text
from coach.paper.pdf.stems import DOWN, LINE_GAP, STAFF, UP, ZONE, draw_stems

_MOST_BARS = 12

# Lanes above and below the staff with the free space under each.
_ABOVE = (
    *(("endings", 4.0), ("marks", 5.0), ("diagrams", 2.0), ("chords", 5.0)),
    *(("fermata", 2.0), ("fingers", 2.0), ("accent-up", 2.0), ("tuplet-up", 2.0)),
)
_BELOW = (("tuplet-down", 2.0), ("accent-down", 2.0), ("thumb", 2.0), ("count", 3.0), ("words", 0.0))


def engrave(bars: Sequence[EngravedBar], room: float, group: str) -> list[LayoutBlock]:
    """The bars as blocks, a line each, `room` points wide. `group` tells their items from those of others."""
    naturals = []
    for start in range(len(bars)):
        widths: list[float] = []
        for end in range(start + 1, min(len(bars), start + _MOST_BARS) + 1):
            widths.append(plan_line(bars[start:end], group).natural)
            if widths[-1] > room:
                break
        naturals.append(widths)
    starts = break_lines(naturals, room)
    ends = [*starts[1:], len(bars)]
    lines = [plan_line(bars[a:b], f"{group}-{k}") for k, (a, b) in enumerate(zip(starts, ends, strict=True))]
    stretches = [min(room / line.natural, MOST_STRETCH) for line in lines]
    if len(lines) > 1:
        stretches[-1] = min(stretches[-1], max(stretches[:-1]))
    blocks = []
    for k, (line, stretch) in enumerate(zip(lines, stretches, strict=True)):
        if stretch < 1:  # one bar that is wider than the page: all of it smaller
            blocks.append(_shrink(place_line(line, line.natural, f"{group}-{k}"), stretch))
        else:
            near = line.natural * stretch > room * (0.88 if len(lines) > 1 else 0.7)
            blocks.append(place_line(line, room if near else line.natural * stretch, f"{group}-{k}"))
    return blocks


def fits_one_line(bars: Sequence[EngravedBar], room: float) -> bool:
    """Whether these bars are one line in that room."""
    return plan_line(bars, "").natural <= room


def _shrink(block: LayoutBlock, by: float) -> LayoutBlock:
    return replace(block, items=tuple(i.scaled(by) for i in block.items), height=block.height * by)


def place_line(line: TabLine, room: float, group: str) -> LayoutBlock:
    """The line spread over `room` points."""
    xs = spread_columns(line.steps, line.cells, room)
    lanes: dict[str, list[Item]] = {}
    for each in line.cells:
        x = xs[each.column] if each.until is None else (xs[each.column] + xs[each.until]) / 2
        lanes.setdefault(each.lane, []).extend(item.moved(x, 0) for item in each.items)
    lanes.setdefault("words", []).extend(_hyphens(line, xs, group))
    lanes.setdefault("endings", []).extend(_brackets(line, xs, group))
    items: list[Item] = []
    y = 0.0
    for lane, space in _ABOVE:
        y = _place_lane(items, lanes.get(lane, []), y, space)
    # With nothing over the staff the bar's number still needs room.
    y = max(y + (ZONE if _has_stems(line, 1) else 5.0), 10.0)
    staff = lanes.pop("staff")
    items += [item.moved(0, y) for item in (*staff, *_staff_lines(staff, xs, f"{group}-staff"))]
    items += [item.moved(0, y - 6) for item in lanes["number"]]
    for k, set_ in enumerate(line.sets):
        for voice, side in zip(set_.voices, (DOWN, UP), strict=True):
            at = [(xs[set_.first] + xs[set_.last]) / 2 if n.bar_rest else xs[set_.at[n.beat]] for n in voice]
            items += [i.moved(0, y) for i in draw_stems(voice, at, side, f"{group}-v{k}{side.way}")]
    y += STAFF + (ZONE + 2 if _has_stems(line, 0) else 8.0)
    for lane, space in _BELOW:
        y = _place_lane(items, lanes.get(lane, []), y, space)
    return LayoutBlock(tuple(items), y, apart=8.0, bars=len(line.sets))


def _has_stems(line: TabLine, voice: int) -> bool:
    """Whether a voice has more than whole notes, which have no stem."""
    return any(n.rest or n.type != "whole" for s in line.sets for n in s.voices[voice])


def _place_lane(items: list[Item], lane: Sequence[Item], y: float, space: float) -> float:
    """Place a lane's items below y; where the next lane begins."""
    if not lane:
        return y
    top, bottom = min(i.box.top for i in lane), max(i.box.bottom for i in lane)
    items += [item.moved(0, y - top) for item in lane]
    return y + bottom - top + space


def _hyphens(line: TabLine, xs: Sequence[float], group: str) -> Iterator[Item]:
    """A hyphen midway between a syllable that goes on and the next one, or right after it at the line's end."""
    sung = sorted((c for c in line.cells if c.lane == "words" and isinstance(c.items[0], Text)), key=lambda c: c.column)
    for k, each in enumerate(sung):
        if not each.joins:
            continue
        end = xs[each.column] + each.items[0].box.right
        after = sung[k + 1] if k + 1 < len(sung) else None
        x = end + 2.6 if after is None else (end + xs[after.column] + after.left) / 2
        yield make_text("hyphen", f"{group}-hyphen{k}", x, 0, "-", WORD, anchor=0.5)


def _brackets(line: TabLine, xs: Sequence[float], group: str) -> Iterator[Item]:
    """A line over the bars of each ending, with a hook where it begins."""
    for ending, run in groupby(line.sets, key=lambda s: s.drawn.ending):
        sets = list(run)
        if ending:
            left, right, name = xs[sets[0].first] + 2, xs[sets[-1].last] - 3, f"{group}-bracket{sets[0].first}"
            yield draw_rule("bracket", name, left, -9.5, right, -9.5, 0.6)
            yield draw_rule("bracket", name, left, -9.5, left, 0, 0.6)


def _staff_lines(staff: Sequence[Item], xs: Sequence[float], group: str) -> Iterator[Item]:
    """The six lines, cut where a number, the clef or a sign stands on them."""
    for k in range(6):
        y = LINE_GAP * k
        cuts = sorted(
            (i.box.left - 1.2, i.box.right + 1.2)
            for i in staff
            if i.group != group and i.box.top - 0.5 < y < i.box.bottom + 0.5
        )
        x = xs[0]
        for left, right in cuts:
            if left > x:
                yield draw_rule("staffline", group, x, y, left, y, 0.5)
            x = max(x, right)
        if x < xs[-1]:
            yield draw_rule("staffline", group, x, y, xs[-1], y, 0.5)
