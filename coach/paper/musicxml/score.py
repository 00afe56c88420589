"""A piece as a MusicXML 4.0 score (W3C Community Group Final Report, 2021) that any notation program opens.

The guitar has a staff of notes and one of tab in two voices, fingers and thumb; the voice, where there are words or a
tune, stands above it. Pitches are those heard, capo counted in. The bars are written out in the order they are played.
Nothing in the file depends on the clock or the machine.
"""

from __future__ import annotations

import datetime
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from fractions import Fraction
from math import lcm

from coach.errors import CoachError
from coach.paper.durations import write_tune, write_voices, write_word_rhythm
from coach.paper.musicxml.chord_symbols_out import add
from coach.paper.musicxml.guitar_part import make_guitar_bar
from coach.paper.musicxml.score_bars import ScoreContext, strip_control_signs
from coach.paper.musicxml.voice_part import make_voice_bar, syllabics
from coach.paper.spelling import spelling_of
from coach.song.piece import Piece

# General MIDI level 1 counts programs from 1: 26 acoustic guitar (steel), 74 flute for the tune.
_GUITAR, _VOICE = ("P1", "Guitar", 26), ("P2", "Voice", 74)


def make_musicxml(
    piece: Piece, *, source: str = "", date: datetime.date | None = None, over_bars: bool = False
) -> bytes:
    """The score of `piece` as the bytes of a `.musicxml` file.

    source     where words and tune come from, for the file's source and rights
    date       day of encoding to be written into it, none when left out
    over_bars  whether notes that ring on over a bar line are tied over it

    Each bar holds what sounds in its layer. Raises CoachError for a piece without bars.
    """
    if not piece.bars:
        raise CoachError(f"'{piece.title}' has no bars to write down", mend="give it at least one bar")
    page = ScoreContext(piece, spelling_of(piece), 1, over_bars)
    page = ScoreContext(piece, page.spelling, _divisions(page), over_bars)
    score = ET.Element("score-partwise", {"version": "4.0"})
    add(add(score, "work"), "work-title", strip_control_signs(piece.title))
    score.append(_make_identification(piece, source, date))
    sung = any(bar.words or bar.tune for bar in piece.bars)
    parts = [_VOICE, _GUITAR] if sung else [_GUITAR]
    part_list = add(score, "part-list")
    for channel, (part_id, name, program) in enumerate(parts, start=1):
        entry = add(part_list, "score-part", id=part_id)
        add(entry, "part-name", name)
        add(add(entry, "score-instrument", id=f"{part_id}-I1"), "instrument-name", name)
        midi = add(entry, "midi-instrument", id=f"{part_id}-I1")
        add(midi, "midi-channel", channel)
        add(midi, "midi-program", program)
    if sung:
        voice = add(score, "part", id=_VOICE[0])
        for bar, words in zip(piece.bars, syllabics(piece), strict=True):
            voice.append(make_voice_bar(page, bar, words))
    guitar = add(score, "part", id=_GUITAR[0])
    for bar in piece.bars:
        guitar.append(make_guitar_bar(page, bar, top=not sung))
    ET.indent(score, " ")
    text: str = ET.tostring(score, "unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


def _make_identification(piece: Piece, source: str, date: datetime.date | None) -> ET.Element:
    identification = ET.Element("identification")
    if source:
        add(identification, "rights", strip_control_signs(source))
    encoding = add(identification, "encoding")
    add(encoding, "software", "Steady Thumb")
    if date is not None:
        add(encoding, "encoding-date", date.isoformat())
    add(encoding, "supports", element="accidental", type="yes")
    add(encoding, "supports", element="beam", type="yes")
    add(encoding, "supports", element="stem", type="yes")
    if source:
        add(identification, "source", strip_control_signs(source))
    if piece.arrangement:
        more = add(identification, "miscellaneous")
        add(more, "miscellaneous-field", strip_control_signs(piece.arrangement), name="arrangement")
    return identification


def _divisions(page: ScoreContext) -> int:
    """Divisions of a quarter note in which every length and every place of a chord is a whole number."""
    return lcm(*(length.denominator for length in _lengths(page)))


def _lengths(page: ScoreContext) -> Iterator[Fraction]:
    for bar in page.piece.bars:
        quarters = bar.meter.quarters_per_beat
        yield bar.beats * quarters
        yield from (hold.beat * quarters for hold in bar.held.holds)
        thumb, fingers = write_voices(bar, **page.neighbours(bar))
        yield from (w.length for line in (thumb, fingers, write_tune(bar), write_word_rhythm(bar)) for w in line)
