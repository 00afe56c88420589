"""Input of the engraver: a bar with the marks to print at it; and the columns and cells of a line being planned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from coach.paper.durations import WrittenNote, write_voices
from coach.paper.pdf.column_spacing import Cell, Step, make_cell
from coach.paper.pdf.layout import Item
from coach.paper.pdf.stems import replace_ties
from coach.song.piece import PieceBar


@dataclass(frozen=True)
class EngravedBar:
    """A bar to engrave, with the marks to print at it.

    diagrams  which of its holds get a shape diagram
    meter, tempo   the time signature, the tempo stand here
    note      words over its bar line: a layer, an ending
    opens, closes  repeat signs at its ends
    ending    the times round that it is played, "" for always
    ties      a note that rings over a beat is tied
    waits     a fermata stands over its last chord
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
    ending: str = ""
    ties: bool = False
    waits: bool = False

    @cached_property
    def voices(self) -> tuple[tuple[WrittenNote, ...], tuple[WrittenNote, ...]]:
        """Thumb and fingers as written notes."""
        thumb, fingers = write_voices(self.bar)
        return (thumb, fingers) if self.ties else (replace_ties(thumb), replace_ties(fingers))

    @cached_property
    def beats(self) -> tuple[Fraction, ...]:
        """Every instant of the bar at which something stands."""
        here, offset = self.bar, self.bar.offset
        beats = {slot * here.slot_beats - offset for slot in range(here.slots)}
        beats |= {n.beat for voice in self.voices for n in voice} | {h.beat for h in here.held.holds}
        beats |= {w.beat for w in here.words} | {p.beat for p in here.sounding}
        return tuple(sorted(b for b in beats if 0 <= b < max(here.beats, Fraction(1))))


class LinePlan:
    """The columns and cells of a line while it is planned."""

    def __init__(self, group: str) -> None:
        self.group = group
        self.steps: list[Step] = []
        self.cells: list[Cell] = []
        self.chord = ""

    def add_column(self, fixed: float, grows: float = 0.0) -> int:
        """A new column this far after the last one; its number."""
        self.steps.append((fixed, grows))
        return len(self.steps) - 1

    def put(
        self, lane: str, add_column: int, items: Sequence[Item], tracks: Sequence[str], gap: float, joins: bool = False
    ) -> None:
        """Let items, drawn around their column and the lane's own zero, stand there."""
        self.cells.append(make_cell(lane, add_column, items, tracks, gap, joins))

    def claim(self, add_column: int, track: str, left: float, right: float) -> None:
        """Keep room for what is drawn later."""
        self.cells.append(Cell("", add_column, (), (track,), left, right, 1.0))

    def group_name(self, what: object) -> str:
        """The group of an item of this line."""
        return f"{self.group}-{what}"
