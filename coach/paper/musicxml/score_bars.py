"""Measure elements common to all parts of a MusicXML score: number, meter, key, tempo, bar lines."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from coach.paper.musicxml.chord_symbols_out import add
from coach.paper.spelling import Spelling
from coach.paper.written_bars import swing_changes
from coach.song.piece import Piece, PieceBar

_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True)
class ScoreContext:
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


def make_measure(page: ScoreContext, bar: PieceBar) -> ET.Element:
    """The empty measure; numbers begin at 1, a pick-up at the very beginning is 0."""
    pick_up = int(page.piece.bars[0].beats < page.piece.bars[0].meter.beats)
    measure = ET.Element("measure", {"number": str(bar.number + 1 - pick_up)})
    if bar.beats != bar.meter.beats:
        measure.set("implicit", "yes")
    return measure


def bar_before(page: ScoreContext, bar: PieceBar) -> PieceBar | None:
    """The bar played before this one, None for the first."""
    return page.piece.bars[bar.number - 1] if bar.number else None


def starts_part(bar: PieceBar, before: PieceBar | None) -> bool:
    """Whether a part begins with this bar."""
    return before is None or (bar.part, bar.time) != (before.part, before.time) or (bar.part != "" and not bar.part_bar)


def make_attributes(page: ScoreContext, bar: PieceBar, before: PieceBar | None) -> ET.Element:
    """What the bar says of key and meter: all of it at the beginning, then what changes; clefs come after it."""
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


def part_and_tempo_directions(bar: PieceBar, before: PieceBar | None) -> Iterator[ET.Element]:
    """The name of a part where it begins, the tempo where it or the beat's note changes."""
    if bar.part and starts_part(bar, before):
        direction = ET.Element("direction", {"placement": "above"})
        add(add(direction, "direction-type"), "rehearsal", strip_control_signs(bar.part))
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


def make_words(text: str) -> ET.Element:
    """A direction in words above the staff."""
    direction = ET.Element("direction", {"placement": "above"})
    add(add(direction, "direction-type"), "words", strip_control_signs(text))
    return direction


def add_bar_line(measure: ET.Element, piece: Piece, bar: PieceBar) -> None:
    """A double line at the end of a part, the closing one at the end."""
    after = piece.bars[bar.number + 1 : bar.number + 2]
    if after and not (bar.part and starts_part(after[0], bar)):
        return
    barline = add(measure, "barline", location="right")
    add(barline, "bar-style", "light-light" if after else "light-heavy")


def strip_control_signs(text: str) -> str:
    """`text` without the control characters that XML 1.0 has no place for."""
    return _NO_XML.sub("", text)
