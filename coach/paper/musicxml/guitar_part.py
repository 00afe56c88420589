"""The guitar of a MusicXML score bar by bar, on a staff of notes and one of tab, with chords and their shapes."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from fractions import Fraction

from coach.guitar.tuning import STANDARD
from coach.music.notes import LETTERS
from coach.paper.durations import Written, voices
from coach.paper.musicxml.chord_symbols_out import add, harmony
from coach.paper.musicxml.note_elements import Head, Line, Signs, note_elements, whole
from coach.paper.musicxml.score_bars import (
    Page,
    attributes_of,
    bar_before,
    close,
    measure_of,
    new_part,
    part_and_tempo,
    words,
)
from coach.paper.swing import STRAIGHT, ratio
from coach.paper.written_bars import FERMATA, LET_RING, held_mark
from coach.picking.plucks import Pluck
from coach.picking.realise import Hold
from coach.song.piece import Piece, PieceBar

# Voices as notation programs number them: four to a staff. Fingers, thumb; on notes, then on tab.
_STAVES = (("1", (1, 2)), ("2", (5, 6)))


def guitar_bar(page: Page, bar: PieceBar, *, top: bool) -> ET.Element:
    """One measure of the guitar; the `top` part of the score carries tempo and part names."""
    measure, before = measure_of(page, bar), bar_before(page, bar)
    attributes = attributes_of(page, bar, before)
    if before is None:
        add(attributes, "staves", 2)
        clef = add(attributes, "clef", number="1")
        # Guitar music is written an octave above its sound; the 8 under the clef says so, and pitches are those heard.
        for tag, text in (("sign", "G"), ("line", 2), ("clef-octave-change", -1)):
            add(clef, tag, text)
        clef = add(attributes, "clef", number="2")
        for tag, text in (("sign", "TAB"), ("line", 5)):
            add(clef, tag, text)
        attributes.append(_tab_staff(page.piece))
    if len(attributes):
        measure.append(attributes)
    if top:
        measure.extend(part_and_tempo(bar, before))
    if before is None:
        measure.extend(_hand_words(page.piece))
    measure.extend(_swing(page, bar))
    held = held_mark(bar, page.piece)
    if held == LET_RING:
        measure.append(words(LET_RING))
    thumb, fingers = voices(bar, **page.neighbours(bar))
    lines = [("up", fingers), ("down", thumb)]
    lines = [line for line in lines if line[1]]
    chords = _chords(page, bar, before)
    signs = _signs(page, bar, [line for _, line in lines])
    length = whole(bar.beats * bar.meter.quarters_per_beat * page.divisions)
    first = True
    for staff, numbers in _STAVES:
        for number, (stem, line) in zip(numbers, lines, strict=False):
            if not first:
                add(add(measure, "backup"), "duration", length)
            where, top_staff = Line(number, staff, stem), staff == "1"
            waits = top_staff and held == FERMATA
            _voice(measure, page, bar, line, where, chords if first else [], signs if top_staff else {}, waits)
            first = False
    close(measure, page.piece, bar)
    return measure


def _voice(
    measure: ET.Element,
    page: Page,
    bar: PieceBar,
    line: Sequence[Written],
    where: Line,
    chords: list[tuple[Fraction, list[ET.Element]]],
    signs: dict[tuple[Fraction, int], str],
    waits: bool,
) -> None:
    for k, written in enumerate(line):
        end = line[k + 1].beat if k + 1 < len(line) else bar.beats
        while chords and chords[0][0] < end:
            beat, elements = chords.pop(0)
            offset = (beat - written.beat) * bar.meter.quarters_per_beat * page.divisions
            for element in elements:
                measure.append(_offset(element, whole(offset)))
        heads = tuple(_head(page, bar, written, pluck, where, signs) for pluck in written.plucks)
        ends = k + 1 == len(line)
        measure.extend(note_elements(written, heads, where, page.divisions, fermata=waits and ends))


def _head(
    page: Page, bar: PieceBar, written: Written, pluck: Pluck, where: Line, signs: dict[tuple[Fraction, int], str]
) -> Head:
    hold = bar.held.at(pluck.beat if pluck.bar == bar.number else Fraction(0))
    pitch = page.spelling.pitch(pluck.midi, hold)
    if where.staff == "1":
        return Head(pitch, signs.get((written.beat, pluck.string), ""), pluck)
    return Head(pitch, "", pluck, tab=True, finger=_fretting(hold, pluck))


def _fretting(hold: Hold, pluck: Pluck) -> str:
    """The finger that holds what is plucked, "" where the shape does not say."""
    if hold.shape is None or not pluck.fret or hold.shape.fret(pluck.string) != pluck.fret:
        return ""
    return hold.shape.fingers[6 - pluck.string].replace(".", "")


def _signs(page: Page, bar: PieceBar, lines: Sequence[Sequence[Written]]) -> dict[tuple[Fraction, int], str]:
    """The accidental of each note on the staff by (beat, string), told once a bar across both voices."""
    signs, found = Signs(page.spelling.sounding.scale), {}
    plucked = [(w.beat, p) for line in lines for w in line if not w.tied_stop for p in w.plucks]
    for beat, pluck in sorted(plucked, key=lambda pair: (pair[0], -pair[1].string)):
        found[beat, pluck.string] = signs.sign(page.spelling.pitch(pluck.midi, bar.held.at(beat)))
    return found


def _tab_staff(piece: Piece) -> ET.Element:
    """Six lines and their open strings, the lowest on line 1; the capo raises them all (MusicXML 4.0, capo)."""
    details = ET.Element("staff-details", {"number": "2"})
    add(details, "staff-lines", 6)
    for line, pitch in enumerate(piece.tuning.pitches, start=1):
        tuning = add(details, "staff-tuning", line=str(line))
        add(tuning, "tuning-step", LETTERS[pitch.note.step])
        if pitch.note.alter:
            add(tuning, "tuning-alter", pitch.note.alter)
        add(tuning, "tuning-octave", pitch.octave)
    if piece.capo:
        add(details, "capo", piece.capo)
    return details


def _hand_words(piece: Piece) -> Iterator[ET.Element]:
    said = [f"Capo {piece.capo}"] if piece.capo else []
    if piece.tuning.pitches != STANDARD.pitches:
        said.append(f"Tuning {piece.tuning}")
    if said:
        yield words(", ".join(said))


def _chords(page: Page, bar: PieceBar, before: PieceBar | None) -> list[tuple[Fraction, list[ET.Element]]]:
    """(beat, elements) wherever the hand changes or a part begins: the chord that sounds, the shape's diagram.

    With a capo on, the name of the shape stands in brackets beside the chord that sounds.
    """
    found = []
    last = before.held.holds[-1] if before is not None and not new_part(bar, before) else None
    for hold in bar.held.holds:
        if hold.beat >= bar.beats:
            break
        if last is None or (hold.chord, hold.shape) != (last.chord, last.shape):
            sounding = page.spelling.chord(hold.chord)
            elements = [harmony(sounding, hold.shape)]
            if sounding != hold.chord:
                elements.append(words(f"({hold.chord})"))
            found.append((hold.beat, elements))
        last = hold
    return found


def _offset(element: ET.Element, offset: int) -> ET.Element:
    """With the place it has after the note before it, and the staff it belongs to."""
    if offset:
        add(element, "offset", offset)
    add(element, "staff", 1)
    return element


def _swing(page: Page, bar: PieceBar) -> Iterator[ET.Element]:
    """Where the swing changes, a direction that shows and sounds it."""
    share = page.swings.get(bar.number)
    if share is None:
        return
    first, second = ratio(share)
    direction = words("straight" if share == STRAIGHT else f"swing {first}:{second}")
    swing = add(add(direction, "sound"), "swing")
    if share == STRAIGHT:
        add(swing, "straight")
    else:
        add(swing, "first", first)
        add(swing, "second", second)
        add(swing, "swing-type", "eighth")
    yield direction
