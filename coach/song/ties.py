"""The tune as it is sung: tied notes are one note, however many bar lines they cross."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.song.chart import TuneNote
from coach.song.piece import PieceBar


def join_ties(bars: Sequence[PieceBar]) -> tuple[tuple[TuneNote, ...], ...]:
    """The notes that begin in each bar; a tied one is added to the length of the note it goes on.

    A note may so reach over its bar line. A tie with nothing of its pitch right before it begins a note.
    """
    joined: list[list[TuneNote]] = []
    last: tuple[int, int] | None = None  # bar and place of the note sung last
    ends = Fraction(0)  # where it ends, from the first bar line on
    start = Fraction(0)
    for number, bar in enumerate(bars):
        joined.append([])
        for note in bar.tune:
            begins = start + note.beat
            if note.tied and last is not None and begins == ends:
                before = joined[last[0]][last[1]]
                if before.pitch.midi == note.pitch.midi:
                    joined[last[0]][last[1]] = replace(before, length=before.length + note.length)
                    ends += note.length
                    continue
            last, ends = (number, len(joined[-1])), begins + note.length
            joined[-1].append(replace(note, tied=False))
        start += bar.beats
    return tuple(tuple(notes) for notes in joined)
