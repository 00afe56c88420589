"""Text tab of a piece that pastes well anywhere: plain signs only, whole bars wrapped to a width.

    Verse
        C                 F
        a   m   a   m
    E |-0-------0-------|-...      string 1 on top
    ...
        p   p   p   p              the thumb below
        1 & 2 & 3 & 4 &            the count
        The boat is  slow          words under the slots of their beats

A bar is as wide as it must be: first all its slots grow, then the one where a word or chord name needs more.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from coach.music.meter import count_syllables
from coach.paper.written_bars import FERMATA, WrittenPart, held_mark, key_behind_capo, written_parts
from coach.picking.layers import FULL
from coach.picking.pattern import STRAIGHT
from coach.picking.plucks import ACCENT, SOFT
from coach.picking.tab import (
    CHORD_ROW,
    COUNT_ROW,
    FINGER_ROW,
    NARROWEST,
    ROWS,
    THUMB_ROW,
    draw_tab_bar,
    row_text,
    string_row,
)
from coach.song.piece import Piece, PieceBar

USUAL_WIDTH = 78
NARROWEST_SHEET = 24
_WIDEST_SLOT = 4
_WORDS_ROW, _OVER_ROW, _UNDER_ROW = ROWS, ROWS + 1, ROWS + 2  # _OVER and _UNDER: accents, what rings on
_STRING_ROWS = tuple(string_row(string) for string in range(1, 7))
_PRINTED = (CHORD_ROW, _OVER_ROW, FINGER_ROW, *_STRING_ROWS, THUMB_ROW, _UNDER_ROW, COUNT_ROW, _WORDS_ROW)
ACCENT_SIGN = ">"  # as in written music
BREATH = "/"  # as singers mark it in their words (common practice, no source)
_LEGEND = "Fingers i m a stand above the strings, the thumb p below; string 1 is on top"

Label = tuple[int, str]  # slot, text


def write_text_tab(piece: Piece, width: int = USUAL_WIDTH, *, source: str = "") -> str:
    """The whole piece as text of at most `width` columns (24 at least), ending in a line feed.

    `source` says where words and tune come from. A part that comes again unchanged stands once. A bar is cut, at a
    beat, only where it is wider than the line.
    """
    width = max(width, NARROWEST_SHEET)
    lines = [*_head_lines(piece, width, source), ""]
    first = piece.bars[0] if piece.bars else None
    before = (first.meter, first.bpm) if first else None
    for part in written_parts(piece):
        lines += _part_heading(part, before, width)
        lines += _system_text(part, piece, width)
        before = (part.bars[-1].meter, part.bars[-1].bpm)
    lines += textwrap.wrap(_legend(piece), width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _head_lines(piece: Piece, width: int, source: str) -> Iterator[str]:
    title = piece.title + (f" ({piece.arrangement})" if piece.arrangement else "")
    yield from textwrap.wrap(title, width)
    yield from textwrap.wrap(source, width)
    facts = []
    if piece.key is not None:
        facts.append(f"key {piece.key.title}")
    if piece.capo:
        sounds = f" (sounds in {key_behind_capo(piece.key, piece.capo).title})" if piece.key is not None else ""
        facts.append(f"capo {piece.capo}{sounds}")
    facts.append(f"tuning {piece.tuning.title} {piece.tuning}")
    if piece.bars:
        facts += [f"meter {piece.bars[0].meter}", f"{_bpm(piece.bars[0])} bpm"]
        shares = {bar.share for bar in piece.bars} - {STRAIGHT}
        facts += [f"swing {float(share):.2f}" for share in sorted(shares)]
    yield from textwrap.wrap("; ".join(facts).capitalize()[:1] + "; ".join(facts)[1:], width)
    if piece.order:
        yield from textwrap.wrap("Order: " + ", ".join(piece.order), width)


def _legend(piece: Piece) -> str:
    frets = "; frets count from the capo" if piece.capo else ""
    stresses = {pluck.stress for bar in piece.bars for pluck in bar.sounding}
    soft = "; a fret in brackets is soft" if SOFT in stresses else ""
    loud = f"; {ACCENT_SIGN} is an accent" if ACCENT in stresses else ""
    breath = f"; {BREATH} is a breath" if any(bar.breaths for bar in piece.bars) else ""
    return _LEGEND + frets + soft + loud + breath + "."


def _bpm(bar: PieceBar) -> str:
    return f"{float(bar.bpm):g}"


def _part_heading(part: WrittenPart, before: tuple[object, object] | None, width: int) -> list[str]:
    first = part.bars[0]
    layers = {bar.layer for bar in part.bars}
    facts = [part.heading] if part.heading else []
    if before is not None and before[0] != first.meter:
        facts.append(str(first.meter))
    if before is not None and before[1] != first.bpm:
        facts.append(f"{_bpm(first)} bpm")
    if layers != {FULL}:
        under = " under the words" if len(layers) > 1 and any(bar.words for bar in part.bars) else ""
        facts.append("layer " + ", ".join(sorted(layers - {FULL})) + under)
    return textwrap.wrap("; ".join(facts), width)


# One bar ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _DrawnBar:
    """A drawn bar: `rows` of one width, the columns it may be cut at, whether a system must begin with it and why."""

    rows: tuple[str, ...]
    beats: tuple[int, ...] = ()
    slots: tuple[int, ...] = ()
    note: str = ""
    goes_on: bool = False  # the next block is the rest of this bar

    @property
    def width(self) -> int:
        return len(self.rows[0])


def _draw_bar(bar: PieceBar, chord_before: str, note: str, held: str) -> _DrawnBar:
    slots = ceil(bar.beats / bar.slot_beats)
    chords = _chord_labels(bar, chord_before)
    words = _word_labels(bar)
    silent = [] if bar.plucks else [(0, "silent")]
    over, under = _labels_over(bar, held), _accent_labels(bar, thumb=True)
    labels = [chords, words, silent, over, under]
    across = _slot_width(bar, labels, slots)
    tab = draw_tab_bar(bar.sounding, bar.sounding, None, bar.meter, bar.slots, across, line="-", barline="|")
    starts = _slot_starts(slots, across, labels)
    rows = [_stretch_row(row_text(tab, row), row in _STRING_ROWS, across, starts) for row in range(ROWS)]
    rows += [" " * starts[-1]] * 3
    rows[CHORD_ROW] = _write_labels(rows[CHORD_ROW], chords, starts)
    rows[_WORDS_ROW] = _write_labels(rows[_WORDS_ROW], words, starts)
    rows[COUNT_ROW] = _write_labels(" " * starts[-1], _count_labels(bar, slots, across), starts)
    rows[FINGER_ROW] = _write_labels(rows[FINGER_ROW], silent, starts)
    rows[_OVER_ROW] = _write_labels(rows[_OVER_ROW], over, starts)
    rows[_UNDER_ROW] = _write_labels(rows[_UNDER_ROW], under, starts)
    on_beat = tuple(starts[k] for k in range(1, slots) if (k * bar.slot_beats).denominator == 1)
    return _DrawnBar(tuple(rows), on_beat, tuple(starts[1:-1]), note)


def _chord_labels(bar: PieceBar, before: str) -> list[Label]:
    names = []
    for hold in bar.held.holds:
        name = str(hold.chord) if hold.chord else "N"
        if name != before and hold.beat < bar.beats:
            names.append((hold.beat / bar.slot_beats, name))
        before = name
    return _place_labels(names)


def _word_labels(bar: PieceBar) -> list[Label]:
    """The words, and the breaths between them."""
    inside = [(beat / bar.slot_beats, BREATH) for beat in bar.breaths if beat < bar.beats]
    labels = _place_labels([*inside, *((word.beat / bar.slot_beats, word.text) for word in bar.words)])
    if len(inside) == len(bar.breaths):
        return labels
    *before, (slot, text) = labels or [(0, "")]  # after the bar's last word
    return [*before, (slot, f"{text} {BREATH}".strip())]


def _labels_over(bar: PieceBar, held: str) -> list[Label]:
    """What stands over the fingers' letters: accents, and at a held bar's chord that it rings on."""
    if not held:
        return _accent_labels(bar, thumb=False)
    last = max(pluck.beat for pluck in bar.sounding)  # the chord on which a piece comes to rest
    return [(int(last / bar.slot_beats) if held == FERMATA else 0, held)]


def _accent_labels(bar: PieceBar, *, thumb: bool) -> list[Label]:
    loud = {int(p.beat / bar.slot_beats) for p in bar.sounding if p.stress == ACCENT and p.bass == thumb}
    return [(slot, ACCENT_SIGN) for slot in sorted(loud)]


def _place_labels(placed: Iterable[tuple[Fraction, str]]) -> list[Label]:
    """Texts at their slots; two that fall into one slot share it."""
    by_slot: dict[int, str] = {}
    for at, text in placed:
        slot = int(at)
        by_slot[slot] = f"{by_slot[slot]} {text}" if slot in by_slot else text
    return sorted(by_slot.items())


def _slot_width(bar: PieceBar, rows: Sequence[Sequence[Label]], slots: int) -> int:
    """Cells a slot: as few as frets, letters and counts allow, then more while words or chord names lack room."""
    narrow = NARROWEST
    at_once: dict[Fraction, int] = {}
    for pluck in bar.sounding:
        narrow = max(narrow, len(str(pluck.fret)) + (2 if pluck.stress == SOFT else 1))
        if pluck.finger != "p":
            at_once[pluck.beat] = at_once.get(pluck.beat, 0) + 1
    narrow = max([narrow, *(count + 1 for count in at_once.values())])
    narrow = max([narrow, *(len(word) + 1 for word in count_syllables(bar.meter, bar.slots))])
    for across in range(narrow, _WIDEST_SLOT + 1):
        if all(_missing_cells(labels, k, slots * across, across) <= 0 for labels in rows for k in range(len(labels))):
            return across
    # Then only the slots that need it grow: a line of words reads better, and two bars find room beside each other.
    return max(narrow, NARROWEST + 1)


def _missing_cells(labels: Sequence[Label], k: int, end: int, across: int) -> int:
    """Cells that label `k` lacks before the next one, or before the bar's end."""
    slot, text = labels[k]
    until = labels[k + 1][0] * across if k + 1 < len(labels) else end
    return slot * across + len(text) + 1 - until


def _slot_starts(slots: int, across: int, rows: Sequence[Sequence[Label]]) -> list[int]:
    """The first column of each slot, and the width of the bar; the bar line is column 0."""
    starts = [1 + k * across for k in range(slots + 1)]
    for at in range(1, slots + 1):
        more = 0
        for labels in rows:
            for k, (slot, text) in enumerate(labels):
                until = labels[k + 1][0] if k + 1 < len(labels) else slots
                if until == at:
                    more = max(more, starts[slot] + 1 + len(text) + 1 - starts[at] - 1)
        for k in range(at, slots + 1):
            starts[k] += more
    return starts


def _stretch_row(row: str, string: bool, across: int, starts: Sequence[int]) -> str:
    """A row of the bar with each slot as wide as `starts` wants it."""
    fill = "-" if string else " "
    cells = [row[1 + k * across : 1 + (k + 1) * across] for k in range(len(starts) - 1)]
    return row[0] + "".join(cell.ljust(b - a, fill) for cell, a, b in zip(cells, starts, starts[1:], strict=False))


def _write_labels(row: str, labels: Sequence[Label], starts: Sequence[int]) -> str:
    """`row` with each label at the note's column of its slot."""
    for slot, text in labels:
        at = starts[slot] + 1
        row = row[:at].ljust(at) + text + row[at + len(text) :]
    return row[: starts[-1]].ljust(starts[-1])


def _count_labels(bar: PieceBar, slots: int, across: int) -> list[Label]:
    said = count_syllables(bar.meter, bar.slots)
    # A pick-up bar is counted as the end of a whole one.
    said = said[len(said) - slots :] if bar.part_bar == 0 else said[:slots]
    unsaid = "." if across > NARROWEST else ""
    return [(k, unsaid if word == "·" else word) for k, word in enumerate(said)]


# Systems ------------------------------------------------------------------------------------------


def _system_text(part: WrittenPart, piece: Piece, width: int) -> Iterator[str]:
    names = [str(piece.tuning.pitches[6 - string].note) for string in range(1, 7)]
    margin = max(map(len, names)) + 1
    before, chord, last = part.bars[0], "", part.bars[-1].number
    system: list[_DrawnBar] = []
    for bar in part.bars:
        changes = [str(bar.meter)] * (bar.meter != before.meter) + [f"{_bpm(bar)} bpm"] * (bar.bpm != before.bpm)
        held = held_mark(bar, piece)
        block = _draw_bar(bar, chord, "; ".join(changes), held)
        if system and (block.note or margin + sum(b.width for b in system) + block.width + 1 > width):
            yield from _system_lines(system, names, margin)
            system = []
            block = _draw_bar(bar, "", block.note, held)  # each line names its chord anew
        *done, rest = _cut_to_width(block, width - margin - 1)
        for piece_of_bar in done:
            yield from _system_lines([piece_of_bar], names, margin)
        system.append(rest)
        ending = bar.held.holds[-1].chord
        before, chord = bar, str(ending) if ending else "N"
        if bar.number == last:
            yield from _system_lines(system, names, margin)


def _cut_to_width(block: _DrawnBar, room: int) -> list[_DrawnBar]:
    """The block in pieces of at most `room` columns, cut at a beat where that helps, else at a slot, else anywhere."""
    pieces, start, note = [], 0, block.note
    while block.width - start > room:
        for places in (block.beats, block.slots, (start + room,)):
            fit = [at for at in places if start < at <= start + room]
            if fit:
                break
        pieces.append(_DrawnBar(tuple(row[start : fit[-1]] for row in block.rows), note=note, goes_on=True))
        start, note = fit[-1], ""
    pieces.append(_DrawnBar(tuple(row[start:] for row in block.rows), note=note))
    return pieces


def _system_lines(system: Sequence[_DrawnBar], names: Sequence[str], margin: int) -> Iterator[str]:
    if system[0].note:
        yield system[0].note
    for row in _PRINTED:
        text = "".join(block.rows[row] for block in system)
        if row in _STRING_ROWS:
            end = "" if system[-1].goes_on else "|"
            yield names[_STRING_ROWS.index(row)].ljust(margin) + text + end
        elif text.strip():
            yield " " * margin + text
    yield ""
