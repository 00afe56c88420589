"""The marks of a bar, put at its columns: fret numbers, letters, chord names, shapes, tempo, count, breaths, words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.music.meter import Meter, count_syllables
from coach.paper.durations import WrittenNote
from coach.paper.pdf.column_spacing import Cell
from coach.paper.pdf.diagrams import draw_diagram
from coach.paper.pdf.engraved_bars import EngravedBar, LinePlan
from coach.paper.pdf.glyphs import BOLD, ITALIC, REGULAR, disc, fermata, wedge
from coach.paper.pdf.layout import Item, Text, draw_path, draw_rule, make_text
from coach.paper.pdf.stems import LINE_GAP, Side, flags_of
from coach.picking.plucks import ACCENT, SOFT, Pluck
from coach.song.piece import PieceBar

FRET, WORD, CHORD, LETTER, COUNT = 9.5, 11.0, 11.5, 8.0, 7.5
_HALF = 3.0  # what stands at a column begins this much to its left, as the number there does


def put_plucks(plan: LinePlan, bar: PieceBar, at: dict[Fraction, int], k: int) -> None:
    """Fret numbers, picking letters and accents."""
    fingers: dict[Fraction, list[Pluck]] = {}
    for pluck in bar.sounding:
        column = at[pluck.beat]
        name = f"{k}-{column}-{pluck.string}"
        track = f"string{pluck.string}"
        plan.put("staff", column, [_fret_text(pluck, plan.group_name(f"fret{name}"))], (track,), 2.5)
        if pluck.bass:
            letter = make_text(
                "letter", plan.group_name(f"thumb{name}"), 0, 0, pluck.finger, LETTER, ITALIC, anchor=0.5
            )
            plan.put("thumb", column, [letter], ("thumb",), 1)
            if pluck.stress == ACCENT:
                plan.put("accent-down", column, [_draw_accent(plan.group_name(f"loud{name}"))], ("accent-down",), 1)
        else:
            fingers.setdefault(pluck.beat, []).append(pluck)
    for beat, plucks in fingers.items():
        column = at[beat]
        stack = [
            make_text(
                "letter", plan.group_name(f"letter{k}-{column}-{n}"), 0, -7.9 * n, p.finger, LETTER, ITALIC, anchor=0.5
            )
            for n, p in enumerate(sorted(plucks, key=lambda p: -p.string))
        ]
        plan.put("fingers", column, stack, ("fingers",), 1)
        if any(p.stress == ACCENT for p in plucks):
            plan.put("accent-up", column, [_draw_accent(plan.group_name(f"loud{k}-{column}"))], ("accent-up",), 1)


def _draw_accent(group: str) -> Item:
    return draw_path("accent", group, wedge(0, 0), 0.8)


def _fret_text(pluck: Pluck, group: str) -> Text:
    soft = pluck.stress == SOFT
    size = FRET - 1.5 if soft else FRET
    y = LINE_GAP * (pluck.string - 1) + 0.371 * size
    text = f"({pluck.fret})" if soft else str(pluck.fret)
    return make_text("fret", group, 0, y, text, size, BOLD if pluck.stress == ACCENT else REGULAR, anchor=0.5)


def claim_room(
    plan: LinePlan, voice: Sequence[WrittenNote], at: dict[Fraction, int], side: Side, track: str, k: int
) -> None:
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
            text = make_text(
                "tuplet", plan.group_name(f"tuplet{k}{track}{begins}"), 0, 0, str(note.tuplet.parts), 7, ITALIC, 0.5
            )
            plan.cells.append(
                Cell(f"tuplet-{track}", at[begins], (text,), (), text.box.left, text.box.right, 0, until=at[note.beat])
            )


def put_marks(plan: LinePlan, each: EngravedBar, before: EngravedBar | None, at: dict[Fraction, int], k: int) -> None:
    """Chord names, diagrams, marks, count, breaths and words."""
    bar_ = each.bar
    head = at[min(at)]
    notes: list[Item] = []
    if each.tempo:
        notes += tempo_mark(bar_.bpm, bar_.meter, plan.group_name(f"tempo{k}"), -_HALF, 0, 9)
    if each.note:
        x = notes[-1].box.right + 8 if notes else -_HALF
        notes.append(make_text("note", plan.group_name(f"note{k}"), x, 0, each.note, 8.5, ITALIC))
    if each.ending and (before is None or before.ending != each.ending):
        ending = make_text("ending", plan.group_name(f"ending{k}"), 0, 0, each.ending, 8.5)
        plan.put("endings", head, [ending], ("endings",), 10)
    if each.waits:
        last = at[max(pluck.beat for pluck in bar_.sounding)]
        plan.put(
            "fermata", last, [draw_path("fermata", plan.group_name(f"fermata{k}"), fermata(0, 0))], ("fermata",), 2
        )
    if notes:
        plan.put("marks", head, notes, ("marks",), 8)
    for number, hold in enumerate(bar_.held.holds):
        if hold.beat not in at:
            continue
        name = str(hold.chord) if hold.chord else "N"
        if name != plan.chord or (number == 0 and (before is None or each.meter)) or number in each.diagrams:
            text = make_text("chord", plan.group_name(f"chord{k}-{number}"), -_HALF, 0, name, CHORD, BOLD)
            plan.put("chords", at[hold.beat], [text], ("chords",), 8)
        plan.chord = name
        if number in each.diagrams and hold.shape is not None:
            items = [i.moved(-_HALF, 0) for i in draw_diagram(hold.shape, plan.group_name(f"shape{k}-{number}"))]
            plan.put("diagrams", at[hold.beat], items, ("diagrams",), 6)
    _put_count(plan, bar_, at, k)
    breathing = {at[max((b for b in at if b <= beat), default=min(at))] for beat in bar_.breaths}
    sung: dict[Fraction, list[str]] = {}
    for word in bar_.words:
        sung.setdefault(word.beat, []).append(word.text)
    for beat, texts in sorted(sung.items()):
        said, joins = " ".join(texts).strip(), texts[-1].rstrip().endswith("-")
        item = make_text("words", plan.group_name(f"words{k}-{beat}"), -_HALF, 0, said.rstrip("-") or said, WORD)
        column = at[max(b for b in at if b <= beat)]
        stands: list[Item] = [item]
        if column in breathing:
            breathing.remove(column)
            stands.append(_draw_breath(item.box.right + 4, plan.group_name(f"breath{k}-{column}")))
        plan.put("words", column, stands, ("words",), 3.4, joins)
    for column in sorted(breathing):
        plan.put("words", column, [_draw_breath(7, plan.group_name(f"breath{k}-{column}"))], ("words",), 1)


def _put_count(plan: LinePlan, bar: PieceBar, at: dict[Fraction, int], k: int) -> None:
    offset = bar.offset
    for slot, said in enumerate(count_syllables(bar.meter, bar.slots)):
        column = at.get(slot * bar.slot_beats - offset)
        if column is not None:
            text = make_text("count", plan.group_name(f"count{k}-{slot}"), 0, 0, said, COUNT, anchor=0.5)
            plan.put("count", column, [replace(text, grey=0.0 if said.isdigit() else 0.35)], ("count",), 1)


def _draw_breath(x: float, group: str) -> Item:
    """A comma raised to the top of the words."""
    tail = (("M", (x + 1.4, 0.0)), ("C", (x + 1.6, 2.4, x + 0.2, 4.0, x - 1.4, 4.6)))
    back = (("C", (x - 0.4, 3.6, x + 0.2, 2.4, x, 1.0)), ("Z", ()))
    return draw_path("breath", group, (*disc(x, 0, 1.5), *tail, *back)).moved(0, -6.8)


def tempo_mark(bpm: Fraction, meter: Meter, group: str, x: float, y: float, size: float) -> list[Item]:
    """A quarter note (dotted where three eighths are a beat) `= bpm`, with its baseline at y."""
    unit = size / 9
    head = (
        ("M", (x, y - 1.6 * unit)),
        ("C", (x + 0.4 * unit, y - 4.4 * unit, x + 5.6 * unit, y - 4.6 * unit, x + 5.2 * unit, y - 2.2 * unit)),
        ("C", (x + 4.8 * unit, y + 0.6 * unit, x - 0.4 * unit, y + 0.8 * unit, x, y - 1.6 * unit)),
        ("Z", ()),
    )
    stem_x = x + 4.9 * unit
    items: list[Item] = [
        draw_path("tempo", group, head),
        draw_rule("tempo", group, stem_x, y - 2.2 * unit, stem_x, y - 9.5 * unit, 0.7 * unit),
    ]
    end = x + 6.5 * unit
    if meter.compound:
        items.append(draw_path("tempo", group, disc(x + 7.4 * unit, y - 2 * unit, 0.9 * unit)))
        end = x + 9.5 * unit
    number = str(bpm) if bpm.denominator == 1 else f"{float(bpm):.1f}".removesuffix(".0")
    items.append(make_text("tempo", group, end + 2, y, f"= {number}", size, BOLD))
    return items
