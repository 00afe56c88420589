"""The voice of a MusicXML score bar by bar: the tune where it is known, and the words under it."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.paper.durations import WrittenNote, write_tune, write_word_rhythm
from coach.paper.musicxml.chord_symbols_out import add
from coach.paper.musicxml.note_elements import Accidentals, Lyric, NoteHead, StaffVoice, note_elements
from coach.paper.musicxml.score_bars import (
    ScoreContext,
    add_bar_line,
    bar_before,
    make_attributes,
    make_measure,
    part_and_tempo_directions,
    strip_control_signs,
)
from coach.song.chart import Word
from coach.song.piece import Piece, PieceBar

_MIDDLE_C = 60


def make_voice_bar(page: ScoreContext, bar: PieceBar, words: Sequence[tuple[Word, str]]) -> ET.Element:
    """One measure of the voice: the tune where it is known, else the words in their rhythm without a pitch.

    `words` are the bar's words with their place in the word: single, begin, middle or end.
    """
    measure, before = make_measure(page, bar), bar_before(page, bar)
    attributes = make_attributes(page, bar, before)
    if before is None:
        clef = add(attributes, "clef")
        for tag, text in (("sign", "G"), ("line", 2)):
            add(clef, tag, text)
        if _is_low(page.piece):
            add(clef, "clef-octave-change", -1)
    if len(attributes):
        measure.append(attributes)
    measure.extend(part_and_tempo_directions(bar, before))
    following = page.piece.bars[bar.number + 1 : bar.number + 2]
    goes_on = bool(following and any(n.tied and n.beat == 0 for n in following[0].tune))
    line = write_tune(bar, goes_on=goes_on) if bar.tune else write_word_rhythm(bar)
    lyrics, signs = _lyrics_by_note(line, words), Accidentals(page.spelling.sounding.scale)
    breaths = {_note_before_breath(line, bar, beat) for beat in bar.breaths}
    for k, written in enumerate(line):
        heads: tuple[NoteHead, ...] = ()
        if not written.rest:
            pitch = written.tune.pitch if written.tune else None
            sign = signs.sign(pitch) if pitch and not written.tied_stop else ""
            heads = (NoteHead(pitch, sign),)
        measure.extend(
            note_elements(written, heads, StaffVoice(1), page.divisions, lyric=lyrics.get(k), breath=k in breaths)
        )
    add_bar_line(measure, page.piece, bar)
    return measure


def syllabics(piece: Piece) -> list[list[tuple[Word, str]]]:
    """Bar by bar every word with its syllabic: a text that ends in `-` goes on in the next one."""
    rows: list[list[tuple[Word, str]]] = []
    inside = False
    for bar in piece.bars:
        row = []
        for word in bar.words:
            goes_on = word.text.endswith("-") and len(word.text) > 1
            row.append((word, ("middle" if inside else "begin") if goes_on else "end" if inside else "single"))
            inside = goes_on
        rows.append(row)
    return rows


def _lyrics_by_note(line: Sequence[WrittenNote], words: Sequence[tuple[Word, str]]) -> dict[int, Lyric]:
    """Which note of the line each word is sung on: the one that begins with it, else the next, else the last.

    Words that fall on one note stand under it together.
    """
    notes = [k for k, w in enumerate(line) if not w.rest and not w.tied_stop] or [
        k for k, w in enumerate(line) if not w.rest
    ]
    by_note: dict[int, Lyric] = {}
    for word, syllabic in words if notes else ():
        at = next((k for k in notes if line[k].beat >= word.beat), notes[-1])
        text = strip_control_signs(word.text.removesuffix("-") if syllabic in ("begin", "middle") else word.text)
        if at in by_note:
            glue = "" if by_note[at].syllabic in ("begin", "middle") else " "
            by_note[at] = replace(by_note[at], text=by_note[at].text + glue + text)
        else:
            by_note[at] = Lyric(text, syllabic)
    return by_note


def _note_before_breath(line: Sequence[WrittenNote], bar: PieceBar, beat: Fraction) -> int:
    """The note after which to breathe: the last that begins before `beat`; -1 where there is none."""
    return max((k for k, w in enumerate(line) if not w.rest and w.beat < beat), default=-1)


def _is_low(piece: Piece) -> bool:
    """Whether the tune lies mostly under middle C, so that the clef with an 8 under it suits it."""
    heights = sorted(note.pitch.midi for bar in piece.bars for note in bar.tune)
    return bool(heights) and heights[len(heights) // 2] < _MIDDLE_C
