"""Stems, beams, flags, dots, rests and ties of one voice of a bar, around a staff whose top line is y = 0.

The fingers' voice stands above the staff with stems up, the thumb's below with stems down. A half note has a short
stem, a whole note none; beams lie level, as all notes of a tab are equally high. A string rings on by itself, so
unless ties are asked for, a beat on which a voice only rings gets a light rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from math import floor

from coach.paper.durations import TYPES, WrittenNote
from coach.paper.pdf.glyphs import block_rest, disc, flag, flagged_rest, quarter_rest
from coach.paper.pdf.layout import Item, draw_path, draw_rectangle, draw_rule

LINE_GAP = 8.0
STAFF = 5 * LINE_GAP
CLEAR, STEM, SHORT = 5.0, 12.0, 6.0
ZONE = CLEAR + STEM
_BEAM, _BEAM_STEP, _HOOK = 2.1, 3.3, 4.5
_NAMES = tuple(TYPES)


def flags_of(note: WrittenNote) -> int:
    """Flags or beams of its value: 1 for an eighth, 2 for a sixteenth."""
    return max(0, _NAMES.index(note.type) - 2)


@dataclass(frozen=True)
class Side:
    """Which way a voice's stems go: `way` -1 up, above the staff; 1 down, below it."""

    way: int

    @property
    def base(self) -> float:
        """Where stems begin, next to the staff."""
        return -CLEAR if self.way < 0 else STAFF + CLEAR

    @property
    def tip(self) -> float:
        """Where they end, at the beams."""
        return self.base + self.way * STEM


UP, DOWN = Side(-1), Side(1)


def replace_ties(voice: Sequence[WrittenNote]) -> tuple[WrittenNote, ...]:
    """The voice with rests where it would be tied, and its beams joined anew around them.

    One chord that rings through the bar is left as it is: there a rest would be a silence.
    """
    if sum(1 for n in voice if n.plucks and not n.tied_stop) == 1 and not voice[0].rest:
        return tuple(voice)
    notes = [
        replace(n, plucks=(), beams=(), tied_stop=False, tied_start=False)
        if n.tied_stop
        else replace(n, beams=(), tied_start=False)
        for n in voice
    ]

    def beam_group(k: int) -> tuple[int, bool]:
        joined = notes[k].tuplet is not None and k > 0 and notes[k - 1].tuplet is not None and notes[k].edge != "start"
        return (beam_group(k - 1)[0] if joined else floor(notes[k].beat)), not notes[k].rest and flags_of(notes[k]) > 0

    for (_, beamed), run in groupby(range(len(notes)), key=beam_group):
        ks = list(run)
        if beamed and len(ks) > 1:
            flags = [0, *(flags_of(notes[k]) for k in ks), 0]
            for place, k in enumerate(ks, start=1):
                around = flags[place - 1], flags[place + 1]
                notes[k] = replace(
                    notes[k], beams=tuple(_beam_state(*around, n, place) for n in range(1, flags[place] + 1))
                )
    return tuple(notes)


def _beam_state(before: int, after: int, level: int, place: int) -> str:
    """What a note's beam `level` does between neighbours with so many flags."""
    if before >= level:
        return "continue" if after >= level else "end"
    if after >= level:
        return "begin"
    return "backward hook" if place > 1 else "forward hook"


def draw_stems(voice: Sequence[WrittenNote], xs: Sequence[float], side: Side, group: str) -> Iterator[Item]:
    """The voice drawn; `xs` is where each of its notes stands."""
    open_beams: dict[int, float] = {}
    for k, (note, x) in enumerate(zip(voice, xs, strict=True)):
        if note.rest:
            yield _draw_rest(note, x, side, f"{group}-rest{k}")
            yield from _draw_dots(note, x + 5, side.base + side.way * STEM / 2 - 1.5, f"{group}-rest{k}")
            continue
        if note.type != "whole":
            end = side.base + side.way * SHORT if note.type == "half" else side.tip
            yield draw_rule("stem", group, x, side.base, x, end, 0.8)
        yield from _draw_dots(note, x + 3.2, side.base + side.way * 2, group)
        if note.beams:
            yield from _draw_beams(note, x, open_beams, side, group)
        else:
            for level in range(flags_of(note)):
                yield draw_path("flag", group, flag(x, side.tip - side.way * level * _BEAM_STEP, -side.way))
        if note.tied_start and k + 1 < len(xs):
            yield _draw_tie(x, xs[k + 1], side, group)


def _draw_beams(note: WrittenNote, x: float, open_beams: dict[int, float], side: Side, group: str) -> Iterator[Item]:
    for level, does in enumerate(note.beams):
        outer = side.tip - side.way * level * _BEAM_STEP
        inner = outer - side.way * _BEAM
        top, bottom = min(outer, inner), max(outer, inner)
        if does == "begin":
            open_beams[level] = x
        elif does == "end":
            yield draw_rectangle("beam", group, open_beams.pop(level, x) - 0.4, top, x + 0.4, bottom)
        elif does == "forward hook":
            yield draw_rectangle("beam", group, x - 0.4, top, x + _HOOK, bottom)
        elif does == "backward hook":
            yield draw_rectangle("beam", group, x - _HOOK, top, x + 0.4, bottom)


def _draw_dots(note: WrittenNote, x: float, y: float, group: str) -> Iterator[Item]:
    for k in range(note.dots):
        yield draw_path("dot", group, disc(x + 3 * k, y, 1.05))


def _draw_rest(note: WrittenNote, x: float, side: Side, group: str) -> Item:
    grey = 0.0 if note.bar_rest else 0.4
    y = side.base + side.way * STEM / 2
    if note.type in ("whole", "half"):
        return draw_path("rest", group, block_rest(x, y, hangs=note.type == "whole"), grey=grey)
    if note.type == "quarter":
        return draw_path("rest", group, quarter_rest(x, y), grey=grey)
    return draw_path("rest", group, flagged_rest(x, y, min(flags_of(note), 4)), grey=grey)


def _draw_tie(x: float, to: float, side: Side, group: str) -> Item:
    """A flat crescent from stem to stem, next to the staff."""
    y, high = side.base + side.way * 3.2, -side.way * 3.4
    a, b = x + 1.5, to - 1.5
    third = (b - a) / 3
    ops = (
        ("M", (a, y)),
        ("C", (a + third, y + high, b - third, y + high, b, y)),
        ("C", (b - third, y + high * 0.6, a + third, y + high * 0.6, a, y)),
        ("Z", ()),
    )
    return draw_path("tie", group, ops)
