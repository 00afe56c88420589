"""Bars of a piece engraved as lines of tab: what stands at each instant, then all of it placed.

From top to bottom a line has, where there is something to show: what changes (tempo, layer), shape diagrams, chord
names, the fingers' letters, accents, tuplets and stems; the staff with fret numbers cut into its lines; then the same
of the thumb, the count, breaths and words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from coach.music.meter import count_syllables
from coach.paper.diagrams import diagram
from coach.paper.durations import Written, lead, voices
from coach.paper.engraving_spacing import MOST_STRETCH, Cell, broken, cell, positions
from coach.paper.engraving_stems import DOWN, LINE_GAP, STAFF, UP, ZONE, Side, flags_of, light, stems
from coach.paper.engraving_tempo import tempo_mark
from coach.paper.glyphs import BOLD, ITALIC, REGULAR, disc, repeat_bar, wedge
from coach.paper.layout import Block, Item, Text, bar, drawn, rule, words
from coach.picking.plucks import ACCENT, SOFT, Pluck
from coach.song.piece import PieceBar

FRET, WORD, CHORD, LETTER, COUNT = 9.5, 11.0, 11.5, 8.0, 7.5
_STRINGS = tuple(f"string{s}" for s in range(1, 7))
_HALF = 3.0  # what stands at a column begins this much to its left, as the number there does
_MOST_BARS = 12

@dataclass(frozen=True)
class Drawn:
    """A bar to engrave, with what is to be told at it.

    diagrams  which of its holds get a shape diagram
    meter, tempo   the time signature, the tempo stand here
    note      words over its bar line: a layer, an ending
    opens, closes  repeat signs at its ends
    ties      a note that rings over a beat is tied
    ends      the line after it: "" thin, "part" double, "piece" thick
    """

    bar: PieceBar
    diagrams: frozenset[int] = frozenset()
    meter: bool = False
    tempo: bool = False
    note: str = ""
    opens: bool = False
    closes: bool = False
    ends: str = ""
    ties: bool = False

    @cached_property
    def spoken(self) -> tuple[tuple[Written, ...], tuple[Written, ...]]:
        """Thumb and fingers as written notes."""
        thumb, fingers = voices(self.bar)
        return (thumb, fingers) if self.ties else (light(thumb), light(fingers))

    @cached_property
    def beats(self) -> tuple[Fraction, ...]:
        """Every instant of the bar at which something stands."""
        here, offset = self.bar, lead(self.bar)
        beats = {slot * here.slot_beats - offset for slot in range(here.slots)}
        beats |= {n.beat for voice in self.spoken for n in voice} | {h.beat for h in here.held.holds}
        beats |= {w.beat for w in here.words} | {p.beat for p in here.sounding}
        return tuple(sorted(b for b in beats if 0 <= b < max(here.beats, Fraction(1))))


@dataclass(frozen=True)
class _Set:
    """A bar in its line: its columns by beat, and its voices; `like` when it only says that the bar before returns."""

    drawn: Drawn
    at: dict[Fraction, int]
    first: int
    last: int
    voices: tuple[tuple[Written, ...], tuple[Written, ...]]
    like: bool


@dataclass(frozen=True)
class Line:
    """A line that is ready to be placed: `natural` is the least width it can have."""

    steps: tuple[float, ...]
    cells: tuple[Cell, ...]
    sets: tuple[_Set, ...]
    xs: tuple[float, ...]
    natural: float


def engraved(bars: Sequence[Drawn], room: float, group: str) -> list[Block]:
    """The bars as blocks, a line each, `room` points wide. `group` tells their items from those of others."""
    naturals = []
    for start in range(len(bars)):
        widths: list[float] = []
        for end in range(start + 1, min(len(bars), start + _MOST_BARS) + 1):
            widths.append(planned(bars[start:end], group).natural)
            if widths[-1] > room:
                break
        naturals.append(widths)
    starts = broken(naturals, room)
    ends = [*starts[1:], len(bars)]
    lines = [planned(bars[a:b], f"{group}-{k}") for k, (a, b) in enumerate(zip(starts, ends, strict=True))]
    stretches = [min(room / line.natural, MOST_STRETCH) for line in lines]
    if len(lines) > 1:
        stretches[-1] = min(stretches[-1], max(stretches[:-1]))
    blocks = []
    for k, (line, stretch) in enumerate(zip(lines, stretches, strict=True)):
        if stretch < 1:  # one bar that is wider than the page: all of it smaller
            blocks.append(_shrunk(placed(line, 1.0, f"{group}-{k}"), stretch))
        else:
            near = line.natural * stretch > room * (0.88 if len(lines) > 1 else 0.7)
            blocks.append(placed(line, room / line.natural if near else stretch, f"{group}-{k}"))
    return blocks


def fits(bars: Sequence[Drawn], room: float) -> bool:
    """Whether these bars are one line in that room."""
    return planned(bars, "").natural <= room


def _shrunk(block: Block, by: float) -> Block:
    return replace(block, items=tuple(i.scaled(by) for i in block.items), height=block.height * by)


# What stands at each column -------------------------------------------------------------------


class _Plan:
    """Columns and cells of a line, being gathered."""

    def __init__(self, group: str) -> None:
        self.group = group
        self.steps: list[float] = []
        self.cells: list[Cell] = []
        self.chord = ""

    def column(self, step: float) -> int:
        self.steps.append(step)
        return len(self.steps) - 1

    def put(
        self, lane: str, column: int, items: Sequence[Item], tracks: Sequence[str], gap: float, joins: bool = False
    ) -> None:
        self.cells.append(cell(lane, column, items, tracks, gap, joins))

    def claim(self, column: int, track: str, left: float, right: float) -> None:
        self.cells.append(Cell("", column, (), (track,), left, right, 1.0))

    def name(self, what: object) -> str:
        return f"{self.group}-{what}"


def planned(bars: Sequence[Drawn], group: str) -> Line:
    """Everything of these bars as one line, at its least width."""
    plan = _Plan(group)
    start = plan.column(0.4)
    plan.put("staff", start, [rule("barline", plan.name("staff"), 0, 0, 0, STAFF, 0.7)], (), 0)
    sign = plan.column(8)
    for k, letter in enumerate("TAB"):
        text = words("clef", plan.name(f"clef{k}"), 0, LINE_GAP * (1.5 + k) + 3.3, letter, 9, BOLD, anchor=0.5)
        plan.put("staff", sign, [text], _STRINGS, 3)
    number = words("barnumber", plan.name("number"), 0, 0, str(bars[0].bar.part_bar + 1), 7, anchor=0.5)
    plan.put("number", sign, [number], ("numbers",), 0)
    sets: list[_Set] = []
    for k, each in enumerate(bars):
        before = bars[k - 1] if k else None
        like = before is not None and _returns(each, before) and bool(each.bar.sounding)
        sets.append(_bar(plan, each, before, like, k))
    _end_line(plan, plan.column(10), bars[-1], None, last=True)
    xs, natural = positions(plan.steps, plan.cells)
    return Line(tuple(plan.steps), tuple(plan.cells), tuple(sets), xs, natural)


def _returns(here: Drawn, before: Drawn) -> bool:
    """Whether a bar is played just as the one before it."""
    a, b = here.bar, before.bar
    if here.meter or here.tempo or here.note or (a.meter, a.beats, a.slots) != (b.meter, b.beats, b.slots):
        return False
    return a.held == b.held and not here.diagrams and heard(a) == heard(b)


def heard(bar: PieceBar) -> tuple[tuple[Fraction, int, int, str, str], ...]:
    """The bar's sounding plucks without the bar's number."""
    return tuple((p.beat, p.string, p.fret, p.finger, p.stress) for p in bar.sounding)


def _bar(plan: _Plan, each: Drawn, before: Drawn | None, like: bool, k: int) -> _Set:
    first = len(plan.steps) - 1
    if before is not None:
        first = plan.column(10)
        _end_line(plan, first, before, None if each.meter else each)
    if each.meter:
        sign = plan.column(9)
        for half, text in enumerate((each.bar.meter.upper, each.bar.meter.lower)):
            digits = words("meter", plan.name(f"meter{k}{half}"), 0, 18 + half * 16, str(text), 17, BOLD, anchor=0.5)
            plan.put("staff", sign, [digits], _STRINGS, 4)
    if each.opens and (each.meter or before is None):
        first = plan.column(8)
        _end_line(plan, first, None, each)
    at = _columns(plan, each)
    last = len(plan.steps)
    set_ = _Set(each, at, first, last, ((), ()) if like else each.spoken, like)
    if like:
        plan.cells.append(_midway("staff", set_, drawn("like", plan.name(f"like{k}"), repeat_bar(0, STAFF / 2)), k))
    else:
        _plucked(plan, each.bar, at, k)
        for voice, side, track in zip(each.spoken, (DOWN, UP), ("down", "up"), strict=True):
            _claims(plan, voice, at, side, track, k)
    _told(plan, each, before, at, k)
    return set_


def _columns(plan: _Plan, each: Drawn) -> dict[Fraction, int]:
    """A column for each instant of the bar, as far apart as time asks."""
    slot = each.bar.slot_beats
    wide = min(10 + 7 * float(slot), 20.0)
    at: dict[Fraction, int] = {}
    last: Fraction | None = None
    for beat in each.beats:
        at[beat] = plan.column(10.0 if last is None else float((beat - last) / slot) * wide)
        last = beat
    return at


def _end_line(
    plan: _Plan, column: int, before: Drawn | None, after: Drawn | None, *, last: bool = False
) -> None:
    """The bar line between two bars, with the repeat signs that belong to it; the `last` one ends at the margin."""
    group = plan.name("staff")
    closes, opens = before is not None and before.closes, after is not None and after.opens
    ends = before.ends if before is not None else ""
    items: list[Item] = []
    thick = closes or opens or ends == "piece"
    if thick:
        items.append(bar("barline", group, -1.1, 0, 1.1, STAFF))
        for x in ([-3.6] if closes or ends == "piece" else []) + ([3.6] if opens else []):
            items.append(rule("barline", group, x, 0, x, STAFF, 0.7))
        for x in ([-6.8] if closes else []) + ([6.8] if opens else []):
            items += [drawn("repeatdot", group, disc(x, LINE_GAP * s, 1.3)) for s in (1.5, 3.5)]
    elif ends == "part":
        items += [rule("barline", group, x, 0, x, STAFF, 0.7) for x in (-2.2, 0)]
    else:
        items.append(rule("barline", group, 0, 0, 0, STAFF, 0.7))
    if last and thick:
        items = [item.moved(-1.1, 0) for item in items]
    plan.put("staff", column, items, _STRINGS, 3)


def _midway(lane: str, set_: _Set, item: Item, k: int) -> Cell:
    return Cell(lane, set_.first, (item,), (), item.box.left, item.box.right, 0, until=set_.last)


def _plucked(plan: _Plan, bar: PieceBar, at: dict[Fraction, int], k: int) -> None:
    """Fret numbers, picking letters and accents."""
    fingers: dict[Fraction, list[Pluck]] = {}
    for pluck in bar.sounding:
        column = at[pluck.beat]
        name = f"{k}-{column}-{pluck.string}"
        track = f"string{pluck.string}"
        plan.put("staff", column, [_fret(pluck, plan.name(f"fret{name}"))], (track,), 2.5)
        if pluck.bass:
            letter = words("letter", plan.name(f"thumb{name}"), 0, 0, pluck.finger, LETTER, ITALIC, anchor=0.5)
            plan.put("thumb", column, [letter], ("thumb",), 1)
            if pluck.stress == ACCENT:
                plan.put("accent-down", column, [_accent(plan.name(f"loud{name}"))], ("accent-down",), 1)
        else:
            fingers.setdefault(pluck.beat, []).append(pluck)
    for beat, plucks in fingers.items():
        column = at[beat]
        stack = [
            words("letter", plan.name(f"letter{k}-{column}-{n}"), 0, -7.9 * n, p.finger, LETTER, ITALIC, anchor=0.5)
            for n, p in enumerate(sorted(plucks, key=lambda p: -p.string))
        ]
        plan.put("fingers", column, stack, ("fingers",), 1)
        if any(p.stress == ACCENT for p in plucks):
            plan.put("accent-up", column, [_accent(plan.name(f"loud{k}-{column}"))], ("accent-up",), 1)


def _accent(group: str) -> Item:
    return drawn("accent", group, wedge(0, 0), 0.8)


def _fret(pluck: Pluck, group: str) -> Text:
    soft = pluck.stress == SOFT
    size = FRET - 1.5 if soft else FRET
    y = LINE_GAP * (pluck.string - 1) + 0.371 * size
    text = f"({pluck.fret})" if soft else str(pluck.fret)
    return words("fret", group, 0, y, text, size, BOLD if pluck.stress == ACCENT else REGULAR, anchor=0.5)


def _claims(plan: _Plan, voice: Sequence[Written], at: dict[Fraction, int], side: Side, track: str, k: int) -> None:
    """Room for stems, flags, dots and rests, and the tuplets' numbers."""
    begins: Fraction | None = None
    for note in voice:
        if note.bar_rest:
            continue
        if note.rest:
            plan.claim(at[note.beat], track, -5 if note.type in ("half", "whole") else -3, 4 + 3.5 * note.dots)
        else:
            flagged = 4.0 if flags_of(note) and not note.beams else 0.5
            plan.claim(at[note.beat], track, -0.5, max(flagged, 4.0 + 3 * note.dots if note.dots else 0))
        if note.edge == "start":
            begins = note.beat
        elif note.edge == "stop" and begins is not None and note.tuplet:
            text = words("tuplet", plan.name(f"tuplet{k}{track}{begins}"), 0, 0, str(note.tuplet.parts), 7, ITALIC, 0.5)
            plan.cells.append(
                Cell(f"tuplet-{track}", at[begins], (text,), (), text.box.left, text.box.right, 0, until=at[note.beat])
            )


def _told(plan: _Plan, each: Drawn, before: Drawn | None, at: dict[Fraction, int], k: int) -> None:
    """Chord names, diagrams, marks, count, breaths and words."""
    bar_ = each.bar
    head = at[min(at)]
    notes: list[Item] = []
    if each.tempo:
        notes += tempo_mark(bar_.bpm, bar_.meter, plan.name(f"tempo{k}"), -_HALF, 0, 9)
    if each.note:
        x = notes[-1].box.right + 8 if notes else -_HALF
        notes.append(words("note", plan.name(f"note{k}"), x, 0, each.note, 8.5, ITALIC))
    if notes:
        plan.put("marks", head, notes, ("marks",), 8)
    for number, hold in enumerate(bar_.held.holds):
        if hold.beat not in at:
            continue
        name = str(hold.chord) if hold.chord else "N"
        if name != plan.chord or (number == 0 and (before is None or each.meter)) or number in each.diagrams:
            text = words("chord", plan.name(f"chord{k}-{number}"), -_HALF, 0, name, CHORD, BOLD)
            plan.put("chords", at[hold.beat], [text], ("chords",), 8)
        plan.chord = name
        if number in each.diagrams and hold.shape is not None:
            items = [i.moved(-_HALF, 0) for i in diagram(hold.shape, plan.name(f"shape{k}-{number}"))]
            plan.put("diagrams", at[hold.beat], items, ("diagrams",), 6)
    _counted(plan, bar_, at, k)
    for n, beat in enumerate(bar_.breaths):
        column = at[max((b for b in at if b <= beat), default=min(at))]
        plan.put("breaths", column, [_breath(7, plan.name(f"breath{k}-{n}"))], ("breaths",), 1)
    sung: dict[Fraction, list[str]] = {}
    for word in bar_.words:
        sung.setdefault(word.beat, []).append(word.text)
    for beat, texts in sorted(sung.items()):
        said, joins = " ".join(texts).strip(), texts[-1].rstrip().endswith("-")
        item = words("words", plan.name(f"words{k}-{beat}"), -_HALF, 0, said.rstrip("-") or said, WORD)
        plan.put("words", at[max(b for b in at if b <= beat)], [item], ("words",), 3.4, joins)


def _counted(plan: _Plan, bar: PieceBar, at: dict[Fraction, int], k: int) -> None:
    offset = lead(bar)
    for slot, said in enumerate(count_syllables(bar.meter, bar.slots)):
        column = at.get(slot * bar.slot_beats - offset)
        if column is not None:
            text = words("count", plan.name(f"count{k}-{slot}"), 0, 0, said, COUNT, anchor=0.5)
            plan.put("count", column, [replace(text, grey=0.0 if said.isdigit() else 0.35)], ("count",), 1)


def _breath(x: float, group: str) -> Item:
    """A raised comma."""
    tail = (("M", (x + 1.4, 0.0)), ("C", (x + 1.6, 2.4, x + 0.2, 4.0, x - 1.4, 4.6)))
    back = (("C", (x - 0.4, 3.6, x + 0.2, 2.4, x, 1.0)), ("Z", ()))
    return drawn("breath", group, (*disc(x, 0, 1.5), *tail, *back))


# Placing --------------------------------------------------------------------------------------

# Lanes above and below the staff with the free space under each.
_ABOVE = (("marks", 5.0), ("diagrams", 2.0), ("chords", 5.0), ("fingers", 2.0), ("accent-up", 2.0), ("tuplet-up", 2.0))
_BELOW = (("tuplet-down", 2.0), ("accent-down", 2.0), ("thumb", 2.0), ("count", 3.0), ("breaths", 1.0), ("words", 0.0))


def placed(line: Line, stretch: float, group: str) -> Block:
    """The line with every column `stretch` times as far from its left edge."""
    xs = [x * stretch for x in line.xs]
    lanes: dict[str, list[Item]] = {}
    for each in line.cells:
        x = xs[each.column] if each.until is None else (xs[each.column] + xs[each.until]) / 2
        lanes.setdefault(each.lane, []).extend(item.moved(x, 0) for item in each.items)
    lanes.setdefault("words", []).extend(_hyphens(line, xs, group))
    items: list[Item] = []
    y = 0.0
    for lane, space in _ABOVE:
        y = _row(items, lanes.get(lane, []), y, space)
    ups = any(s.voices[1] for s in line.sets)
    # With nothing over the staff the bar's number still needs room.
    y = max(y + (ZONE if ups else 5.0), 10.0)
    staff = lanes.pop("staff")
    items += [item.moved(0, y) for item in (*staff, *_staff_lines(staff, xs, f"{group}-staff"))]
    items += [item.moved(0, y - 6) for item in lanes["number"]]
    for k, set_ in enumerate(line.sets):
        for voice, side in zip(set_.voices, (DOWN, UP), strict=True):
            at = [(xs[set_.first] + xs[set_.last]) / 2 if n.bar_rest else xs[set_.at[n.beat]] for n in voice]
            items += [i.moved(0, y) for i in stems(voice, at, side, f"{group}-v{k}{side.way}")]
    y += STAFF + (ZONE + 2 if any(s.voices[0] for s in line.sets) else 8.0)
    for lane, space in _BELOW:
        y = _row(items, lanes.get(lane, []), y, space)
    return Block(tuple(items), y, apart=10.0, bars=len(line.sets))


def _row(items: list[Item], lane: Sequence[Item], y: float, space: float) -> float:
    """Place a lane's items below y; where the next lane begins."""
    if not lane:
        return y
    top, bottom = min(i.box.top for i in lane), max(i.box.bottom for i in lane)
    items += [item.moved(0, y - top) for item in lane]
    return y + bottom - top + space


def _hyphens(line: Line, xs: Sequence[float], group: str) -> Iterator[Item]:
    """A hyphen midway between a syllable that goes on and the next one, or right after it at the line's end."""
    sung = sorted((c for c in line.cells if c.lane == "words"), key=lambda c: c.column)
    for k, each in enumerate(sung):
        if not each.joins:
            continue
        end = xs[each.column] + each.items[0].box.right
        after = sung[k + 1] if k + 1 < len(sung) else None
        x = end + 2.6 if after is None else (end + xs[after.column] + after.left) / 2
        yield words("hyphen", f"{group}-hyphen{k}", x, 0, "-", WORD, anchor=0.5)


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
                yield rule("staffline", group, x, y, left, y, 0.5)
            x = max(x, right)
        if x < xs[-1]:
            yield rule("staffline", group, x, y, xs[-1], y, 0.5)
