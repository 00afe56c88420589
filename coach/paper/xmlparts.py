"""The two parts of a MusicXML score bar by bar: the guitar on a staff of notes and one of tab, and the voice."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from coach.guitar.tuning import STANDARD
from coach.music.notes import LETTERS
from coach.paper.durations import Written, spoken_line, tune_line, voices
from coach.paper.harmony import add, harmony
from coach.paper.spelling import Spelling
from coach.paper.swing import STRAIGHT, ratio, swing_changes
from coach.paper.xmlnotes import Head, Line, Signs, Syllable, note_elements, whole
from coach.picking.plucks import Pluck
from coach.picking.realise import Hold
from coach.song.chart import Word
from coach.song.piece import Piece, PieceBar

# Voices as notation programs number them: four to a staff. Fingers, thumb; on notes, then on tab.
_STAVES = (("1", (1, 2)), ("2", (5, 6)))
_MIDDLE_C = 60
_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True)
class Page:
    """What both parts need: the piece, how it is spelled, divisions of a quarter note, ties over bar lines or not."""

    piece: Piece
    spelling: Spelling
    divisions: int
    over_bars: bool = False

    @cached_property
    def swings(self) -> dict[int, Fraction]:
        """The bars where the swing changes."""
        return swing_changes(self.piece.bars)

    def neighbours(self, bar: PieceBar) -> dict[str, PieceBar | None]:
        """The bars before and after, as `voices` takes them, where notes are to be tied over bar lines."""
        if not self.over_bars:
            return {}
        bars, k = self.piece.bars, bar.number
        return {"before": bars[k - 1] if k else None, "after": bars[k + 1] if k + 1 < len(bars) else None}


def guitar_bar(page: Page, bar: PieceBar, *, top: bool) -> ET.Element:
    """One measure of the guitar; the `top` part of the score carries tempo and part names."""
    measure, before = _measure(page, bar), _before(page, bar)
    attributes = _attributes(page, bar, before)
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
        measure.extend(_part_and_tempo(bar, before))
    if before is None:
        measure.extend(_hand_words(page.piece))
    measure.extend(_swing(page, bar))
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
            where = Line(number, staff, stem)
            _voice(measure, page, bar, line, where, chords if first else [], signs if staff == "1" else {})
            first = False
    _barline(measure, page.piece, bar)
    return measure


def _voice(
    measure: ET.Element,
    page: Page,
    bar: PieceBar,
    line: Sequence[Written],
    where: Line,
    chords: list[tuple[Fraction, list[ET.Element]]],
    signs: dict[tuple[Fraction, int], str],
) -> None:
    for k, written in enumerate(line):
        end = line[k + 1].beat if k + 1 < len(line) else bar.beats
        while chords and chords[0][0] < end:
            beat, elements = chords.pop(0)
            offset = (beat - written.beat) * bar.meter.quarters_per_beat * page.divisions
            for element in elements:
                measure.append(_offset(element, whole(offset)))
        heads = tuple(_head(page, bar, written, pluck, where, signs) for pluck in written.plucks)
        measure.extend(note_elements(written, heads, where, page.divisions))


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
        yield _words(", ".join(said))


def _chords(page: Page, bar: PieceBar, before: PieceBar | None) -> list[tuple[Fraction, list[ET.Element]]]:
    """(beat, elements) wherever the hand changes or a part begins: the chord that sounds, the shape's diagram.

    With a capo on, the name of the shape stands in brackets beside the chord that sounds.
    """
    found = []
    last = before.held.holds[-1] if before is not None and not _new_part(bar, before) else None
    for hold in bar.held.holds:
        if hold.beat >= bar.beats:
            break
        if last is None or (hold.chord, hold.shape) != (last.chord, last.shape):
            sounding = page.spelling.chord(hold.chord)
            elements = [harmony(sounding, hold.shape)]
            if sounding != hold.chord:
                elements.append(_words(f"({hold.chord})"))
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
    direction = _words("straight" if share == STRAIGHT else f"swing {first}:{second}")
    swing = add(add(direction, "sound"), "swing")
    if share == STRAIGHT:
        add(swing, "straight")
    else:
        add(swing, "first", first)
        add(swing, "second", second)
        add(swing, "swing-type", "eighth")
    yield direction


# The voice


def voice_bar(page: Page, bar: PieceBar, said: Sequence[tuple[Word, str]]) -> ET.Element:
    """One measure of the voice: the tune where it is known, else the words in their rhythm without a pitch.

    `said` are the bar's words with their place in the word: single, begin, middle or end.
    """
    measure, before = _measure(page, bar), _before(page, bar)
    attributes = _attributes(page, bar, before)
    if before is None:
        clef = add(attributes, "clef")
        for tag, text in (("sign", "G"), ("line", 2)):
            add(clef, tag, text)
        if _is_low(page.piece):
            add(clef, "clef-octave-change", -1)
    if len(attributes):
        measure.append(attributes)
    measure.extend(_part_and_tempo(bar, before))
    following = page.piece.bars[bar.number + 1 : bar.number + 2]
    goes_on = bool(following and any(n.tied and n.beat == 0 for n in following[0].tune))
    line = tune_line(bar, goes_on=goes_on) if bar.tune else spoken_line(bar)
    lyrics, signs = _lyrics(line, said), Signs(page.spelling.sounding.scale)
    breaths = {_breathing(line, bar, beat) for beat in bar.breaths}
    for k, written in enumerate(line):
        heads: tuple[Head, ...] = ()
        if not written.rest:
            pitch = written.tune.pitch if written.tune else None
            sign = signs.sign(pitch) if pitch and not written.tied_stop else ""
            heads = (Head(pitch, sign),)
        measure.extend(
            note_elements(written, heads, Line(1), page.divisions, lyric=lyrics.get(k), breath=k in breaths)
        )
    _barline(measure, page.piece, bar)
    return measure


def syllabics(piece: Piece) -> list[list[tuple[Word, str]]]:
    """Bar by bar every word with its syllabic: a text that ends in `-` goes on in the next one."""
    found: list[list[tuple[Word, str]]] = []
    inside = False
    for bar in piece.bars:
        row = []
        for word in bar.words:
            goes_on = word.text.endswith("-") and len(word.text) > 1
            row.append((word, ("middle" if inside else "begin") if goes_on else "end" if inside else "single"))
            inside = goes_on
        found.append(row)
    return found


def _lyrics(line: Sequence[Written], said: Sequence[tuple[Word, str]]) -> dict[int, Syllable]:
    """Which note of the line each word is sung on: the one that begins with it, else the next, else the last.

    Words that fall on one note stand under it together.
    """
    notes = [k for k, w in enumerate(line) if not w.rest and not w.tied_stop] or [
        k for k, w in enumerate(line) if not w.rest
    ]
    found: dict[int, Syllable] = {}
    for word, syllabic in said if notes else ():
        at = next((k for k in notes if line[k].beat >= word.beat), notes[-1])
        text = legible(word.text.removesuffix("-") if syllabic in ("begin", "middle") else word.text)
        if at in found:
            glue = "" if found[at].syllabic in ("begin", "middle") else " "
            found[at] = replace(found[at], text=found[at].text + glue + text)
        else:
            found[at] = Syllable(text, syllabic)
    return found


def _breathing(line: Sequence[Written], bar: PieceBar, beat: Fraction) -> int:
    """The note after which to breathe: the last that begins before `beat`; -1 where there is none."""
    return max((k for k, w in enumerate(line) if not w.rest and w.beat < beat), default=-1)


def _is_low(piece: Piece) -> bool:
    """Whether the tune lies mostly under middle C, so that the clef with an 8 under it suits it."""
    heights = sorted(note.pitch.midi for bar in piece.bars for note in bar.tune)
    return bool(heights) and heights[len(heights) // 2] < _MIDDLE_C


# Both


def _measure(page: Page, bar: PieceBar) -> ET.Element:
    """The empty measure; numbers begin at 1, a pick-up at the very beginning is 0."""
    pick_up = int(page.piece.bars[0].beats < page.piece.bars[0].meter.beats)
    measure = ET.Element("measure", {"number": str(bar.number + 1 - pick_up)})
    if bar.beats != bar.meter.beats:
        measure.set("implicit", "yes")
    return measure


def _before(page: Page, bar: PieceBar) -> PieceBar | None:
    return page.piece.bars[bar.number - 1] if bar.number else None


def _new_part(bar: PieceBar, before: PieceBar | None) -> bool:
    return before is None or (bar.part, bar.time) != (before.part, before.time) or (bar.part != "" and not bar.part_bar)


def _attributes(page: Page, bar: PieceBar, before: PieceBar | None) -> ET.Element:
    attributes = ET.Element("attributes")
    if before is None:
        add(attributes, "divisions", page.divisions)
        key = add(attributes, "key")
        add(key, "fifths", page.spelling.sounding.signature)
        add(key, "mode", "minor" if page.spelling.sounding.minor else "major")
    if before is None or before.meter != bar.meter:
        time = add(attributes, "time")
        add(time, "beats", bar.meter.upper)
        add(time, "beat-type", bar.meter.lower)
    return attributes


def _part_and_tempo(bar: PieceBar, before: PieceBar | None) -> Iterator[ET.Element]:
    if bar.part and _new_part(bar, before):
        direction = ET.Element("direction", {"placement": "above"})
        add(add(direction, "direction-type"), "rehearsal", legible(bar.part))
        yield direction
    quarters = bar.meter.quarters_per_beat
    if before is None or (before.bpm, before.meter.quarters_per_beat) != (bar.bpm, quarters):
        direction = ET.Element("direction", {"placement": "above"})
        metronome = add(add(direction, "direction-type"), "metronome")
        add(metronome, "beat-unit", "quarter")
        if bar.meter.compound:
            add(metronome, "beat-unit-dot")
        add(metronome, "per-minute", f"{float(bar.bpm):g}")
        # Quarter notes a minute, whatever the beat is (MusicXML 4.0, sound@tempo).
        add(direction, "sound", tempo=f"{float(bar.bpm * quarters):g}")
        yield direction


def _words(text: str) -> ET.Element:
    direction = ET.Element("direction", {"placement": "above"})
    add(add(direction, "direction-type"), "words", legible(text))
    return direction


def _barline(measure: ET.Element, piece: Piece, bar: PieceBar) -> None:
    """A double line at the end of a part, the closing one at the end."""
    after = piece.bars[bar.number + 1 : bar.number + 2]
    if after and not (bar.part and _new_part(after[0], bar)):
        return
    barline = add(measure, "barline", location="right")
    add(barline, "bar-style", "light-light" if after else "light-heavy")


def legible(text: str) -> str:
    """`text` without the control characters that XML 1.0 has no place for."""
    return _NO_XML.sub("", text)
