"""The voice of a MusicXML score bar by bar: the tune where it is known, and the words under it."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.paper.durations import Written, spoken_line, tune_line
from coach.paper.musicxml.chord_symbols_out import add
from coach.paper.musicxml.note_elements import Head, Line, Signs, Syllable, note_elements
from coach.paper.musicxml.score_bars import Page, attributes_of, bar_before, close, legible, measure_of, part_and_tempo
from coach.song.chart import Word
from coach.song.piece import Piece, PieceBar

_MIDDLE_C = 60


def voice_bar(page: Page, bar: PieceBar, said: Sequence[tuple[Word, str]]) -> ET.Element:
    """One measure of the voice: the tune where it is known, else the words in their rhythm without a pitch.

    `said` are the bar's words with their place in the word: single, begin, middle or end.
    """
    measure, before = measure_of(page, bar), bar_before(page, bar)
    attributes = attributes_of(page, bar, before)
    if before is None:
        clef = add(attributes, "clef")
        for tag, text in (("sign", "G"), ("line", 2)):
            add(clef, tag, text)
        if _is_low(page.piece):
            add(clef, "clef-octave-change", -1)
    if len(attributes):
        measure.append(attributes)
    measure.extend(part_and_tempo(bar, before))
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
    close(measure, page.piece, bar)
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
