"""The guitar of a MusicXML score bar by bar, on a staff of notes and one of tab, with chords and their shapes."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from fractions import Fraction

from coach.guitar.tuning import STANDARD
from coach.music.notes import LETTERS
from coach.paper.durations import WrittenNote, write_voices
from coach.paper.musicxml.chord_symbols_out import add, make_harmony
from coach.paper.musicxml.note_elements import Accidentals, NoteHead, StaffVoice, note_elements, whole_number
from coach.paper.musicxml.score_bars import (
    ScoreContext,
    add_bar_line,
    bar_before,
    make_attributes,
    make_measure,
    make_words,
    part_and_tempo_directions,
    starts_part,
)
from coach.paper.written_bars import FERMATA, LET_RING, STRAIGHT, held_mark, swing_ratio
from coach.picking.plucks import Pluck
from coach.picking.realise import Hold
from coach.song.piece import Piece, PieceBar

# Voices as notation programs number them: four to a staff. Fingers, thumb; on notes, then on tab.
_STAVES = (("1", (1, 2)), ("2", (5, 6)))


def make_guitar_bar(page: ScoreContext, bar: PieceBar, *, top: bool) -> ET.Element:
    """One measure of the guitar; the `top` part of the score carries tempo and part names."""
    measure, before = make_measure(page, bar), bar_before(page, bar)
    attributes = make_attributes(page, bar, before)
    if before is None:
        add(attributes, "staves", 2)
        clef = add(attributes, "clef", number="1")
        # Guitar music is written an octave above its sound; the 8 under the clef says so, and pitches are those heard.
        for tag, text in (("sign", "G"), ("line", 2), ("clef-octave-change", -1)):
            add(clef, tag, text)
        clef = add(attributes, "clef", number="2")
        for tag, text in (("sign", "TAB"), ("line", 5)):
            add(clef, tag, text)
        attributes.append(_make_tab_staff(page.piece))
    if len(attributes):
        measure.append(attributes)
    if top:
        measure.extend(part_and_tempo_directions(bar, before))
    if before is None:
        measure.extend(_hand_words(page.piece))
    measure.extend(_swing_direction(page, bar))
    held = held_mark(bar, page.piece)
    if held == LET_RING:
        measure.append(make_words(LET_RING))
    thumb, fingers = write_voices(bar, **page.neighbours(bar))
    lines = [("up", fingers), ("down", thumb)]
    lines = [line for line in lines if line[1]]
    chords = _chord_elements(page, bar, before)
    signs = _find_accidentals(page, bar, [line for _, line in lines])
    length = whole_number(bar.beats * bar.meter.quarters_per_beat * page.divisions)
    first = True
    for staff, numbers in _STAVES:
        for number, (stem, line) in zip(numbers, lines, strict=False):
            if not first:
                add(add(measure, "backup"), "duration", length)
            where, top_staff = StaffVoice(number, staff, stem), staff == "1"
            waits = top_staff and held == FERMATA
            _add_voice(measure, page, bar, line, where, chords if first else [], signs if top_staff else {}, waits)
            first = False
    add_bar_line(measure, page.piece, bar)
    return measure


def _add_voice(
    measure: ET.Element,
    page: ScoreContext,
    bar: PieceBar,
    line: Sequence[WrittenNote],
    where: StaffVoice,
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
                measure.append(_set_offset(element, whole_number(offset)))
        heads = tuple(_make_head(page, bar, written, pluck, where, signs) for pluck in written.plucks)
        ends = k + 1 == len(line)
        measure.extend(note_elements(written, heads, where, page.divisions, fermata=waits and ends))


def _make_head(
    page: ScoreContext,
    bar: PieceBar,
    written: WrittenNote,
    pluck: Pluck,
    where: StaffVoice,
    signs: dict[tuple[Fraction, int], str],
) -> NoteHead:
    hold = bar.held.at(pluck.beat if pluck.bar == bar.number else Fraction(0))
    pitch = page.spelling.pitch(pluck.midi, hold)
    if where.staff == "1":
        return NoteHead(pitch, signs.get((written.beat, pluck.string), ""), pluck)
    return NoteHead(pitch, "", pluck, tab=True, finger=_fretting_finger(hold, pluck))


def _fretting_finger(hold: Hold, pluck: Pluck) -> str:
    """The finger that holds what is plucked, "" where the shape does not say."""
    if hold.shape is None or not pluck.fret or hold.shape.fret(pluck.string) != pluck.fret:
        return ""
    return hold.shape.fingers[6 - pluck.string].replace(".", "")


def _find_accidentals(
    page: ScoreContext, bar: PieceBar, lines: Sequence[Sequence[WrittenNote]]
) -> dict[tuple[Fraction, int], str]:
    """The accidental of each note on the staff by (beat, string), printed once a bar across both voices."""
    signs, by_pluck = Accidentals(page.spelling.sounding.scale), {}
    plucked = [(w.beat, p) for line in lines for w in line if not w.tied_stop for p in w.plucks]
    for beat, pluck in sorted(plucked, key=lambda pair: (pair[0], -pair[1].string)):
        by_pluck[beat, pluck.string] = signs.sign(page.spelling.pitch(pluck.midi, bar.held.at(beat)))
    return by_pluck


def _make_tab_staff(piece: Piece) -> ET.Element:
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
    facts = [f"Capo {piece.capo}"] if piece.capo else []
    if piece.tuning.pitches != STANDARD.pitches:
        facts.append(f"Tuning {piece.tuning}")
    if facts:
        yield make_words(", ".join(facts))


def _chord_elements(
    page: ScoreContext, bar: PieceBar, before: PieceBar | None
) -> list[tuple[Fraction, list[ET.Element]]]:
    """(beat, elements) wherever the hand changes or a part begins: the chord that sounds, the shape's diagram.

    With a capo on, the name of the shape stands in brackets beside the chord that sounds.
    """
    by_beat = []
    last = before.held.holds[-1] if before is not None and not starts_part(bar, before) else None
    for hold in bar.held.holds:
        if hold.beat >= bar.beats:
            break
        if last is None or (hold.chord, hold.shape) != (last.chord, last.shape):
            sounding = page.spelling.chord(hold.chord)
            elements = [make_harmony(sounding, hold.shape)]
            if sounding != hold.chord:
                elements.append(make_words(f"({hold.chord})"))
            by_beat.append((hold.beat, elements))
        last = hold
    return by_beat


def _set_offset(element: ET.Element, offset: int) -> ET.Element:
    """With the place it has after the note before it, and the staff it belongs to."""
    if offset:
        add(element, "offset", offset)
    add(element, "staff", 1)
    return element


def _swing_direction(page: ScoreContext, bar: PieceBar) -> Iterator[ET.Element]:
    """Where the swing changes, a direction that shows and sounds it."""
    share = page.swings.get(bar.number)
    if share is None:
        return
    first, second = swing_ratio(share)
    direction = make_words("straight" if share == STRAIGHT else f"swing {first}:{second}")
    swing = add(add(direction, "sound"), "swing")
    if share == STRAIGHT:
        add(swing, "straight")
    else:
        add(swing, "first", first)
        add(swing, "second", second)
        add(swing, "swing-type", "eighth")
    yield direction
