"""The words of a loop as lines to be sung from: syllables with the beats they fall on, and where one is in them.

A line ends where one breathes, where the part ends or a bar has no words; a longer one than the view holds is parted
at the ends of words. Several words that the chart gives one beat are spread evenly until the next beat that has any.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil

from coach.song.piece import PieceBar

# The coming line takes the place of the sung one half-way between them, but not later than this many beats after the
# last syllable began.
LINGERS = 2.0


@dataclass(frozen=True)
class Syllable:
    """Something sung from `beat` of the loop on; `bar` counts from 0.

    goes_on  the word goes on with the next syllable
    breath   one breathes after it
    """

    beat: float
    bar: int
    text: str
    goes_on: bool = False
    breath: bool = False

    @property
    def written(self) -> str:
        """With what stands between it and the next one."""
        return self.text if self.goes_on else f"{self.text} "


Line = tuple[Syllable, ...]


def line_text(line: Sequence[Syllable]) -> str:
    """A line as one text."""
    return "".join(syllable.written for syllable in line).rstrip()


def phrases(bars: Sequence[PieceBar]) -> tuple[Line, ...]:
    """Every line of the bars, however long, in order."""
    lines: list[list[Syllable]] = []
    fresh = True
    for number, bar in enumerate(bars):
        before = bars[number - 1] if number else None
        fresh = fresh or not bar.words or before is None or (before.part, before.time) != (bar.part, bar.time)
        for at, word in enumerate(bar.words):
            if fresh:
                lines.append([])
            ends = bar.words[at + 1].beat if at + 1 < len(bar.words) else bar.beats
            fresh = any(word.beat < beat <= ends for beat in bar.breaths)
            texts = word.text.split() or [""]
            for k, text in enumerate(texts):
                last = k == len(texts) - 1
                beat = float(bar.start + word.beat + (ends - word.beat) * k / len(texts))
                goes_on = last and text.endswith("-") and not fresh
                lines[-1].append(Syllable(beat, number, text.removesuffix("-"), goes_on, last and fresh))
        if lines and not bar.words and bar.breaths:
            # One breathes on what was held over the bar line.
            lines[-1][-1] = replace(lines[-1][-1], breath=True)
    return tuple(tuple(line) for line in lines)


def fitted(lines: Sequence[Line], width: int, measure: Callable[[Syllable], int]) -> tuple[Line, ...]:
    """The lines, each longer one parted at words' ends into as few about equal ones as fit into `width`.

    `measure` gives the cells of a syllable and what stands after it.
    """
    return tuple(part for line in lines for part in _parted(line, width, measure))


def _parted(line: Line, width: int, measure: Callable[[Syllable], int]) -> Iterator[Line]:
    words = [(word, sum(map(measure, word))) for word in _words(line)]
    left = sum(cells for _, cells in words)
    pieces = ceil(left / max(width, 1))
    part: list[Syllable] = []
    have = 0
    for word, cells in words:
        aim = (left + have) / max(pieces, 1)
        # The break that leaves the part nearer to its aim; punctuation draws it.
        drawn = aim / 4 if part and part[-1].text[-1:] in ",.;:!?" else 0.0
        enough = pieces > 1 and have + cells - aim > aim - have - drawn
        if part and (enough or have + cells > width):
            yield tuple(part)
            part, have, pieces = [], 0, pieces - 1
        part += word
        have += cells
        left -= cells
    if part:
        yield tuple(part)


def _words(line: Line) -> Iterator[Line]:
    """The line's words, each with all its syllables."""
    word: list[Syllable] = []
    for syllable in line:
        word.append(syllable)
        if not syllable.goes_on:
            yield tuple(word)
            word = []
    if word:
        yield tuple(word)


@dataclass(frozen=True)
class Reading:
    """Where one is: the line, its syllable (-1 before the first), and in how many bars it begins (0: it has begun)."""

    line: int
    syllable: int = -1
    bars: int = 0


class Lyrics:
    """Lines on the beats of a loop `beats` long, and where one is in them."""

    def __init__(self, lines: Sequence[Line]) -> None:
        self.lines = tuple(lines)
        self._turns = [
            min((before[-1].beat + after[0].beat) / 2, before[-1].beat + LINGERS)
            for before, after in pairwise(self.lines)
        ]
        self._beats = [[syllable.beat for syllable in line] for line in self.lines]

    def at(self, bar: int, beat: float) -> Reading:
        """Where `beat` of the loop, which lies in bar `bar`, is; before the first beat both are negative."""
        line = bisect_right(self._turns, beat)
        syllable = bisect_right(self._beats[line], beat) - 1
        return Reading(line, syllable, max(self.lines[line][0].bar - bar, 0) if syllable < 0 else 0)

    def following(self, line: int) -> tuple[str, ...]:
        """The next few lines after a line; after the last come the first ones again."""
        return tuple(line_text(self.lines[(line + k) % len(self.lines)]) for k in range(1, min(len(self.lines), 3) + 1))
