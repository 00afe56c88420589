"""Simple chords for a tune that comes without any: one chord of the key a bar, by rule.

Each bar may have one of the six everyday chords of the key (I ii IV V vi in major; i iv V III VI VII in minor). The
best row of chords is found exactly, by dynamic programming: a chord gets for each note of its bar that belongs to it
the note's length, more on the bar line, and loses for those that do not; changes that tunes like (V to I, IV to I)
get a little; the tune starts and ends at home where it can. The weights are ours. It is a proposal to start from.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from coach.music.chords import Chord
from coach.music.keys import Key
from coach.song.chart import TuneNote

Bar = tuple[Sequence[TuneNote], Fraction]

_MAJOR = ((0, "", 0.4), (3, "", 0.25), (4, "", 0.3), (5, "m", 0.0), (1, "m", 0.0))
_MINOR = ((0, "m", 0.4), (3, "m", 0.2), (4, "", 0.3), (2, "", 0.1), (5, "", 0.0), (6, "", 0.0))
_FOREIGN = 0.6  # what a note outside the chord takes, for each of its beats
_ON_THE_BAR = 0.8  # what the first note of the bar counts besides
_FALLS = 0.3  # V to I
_STAYS = 0.1
_HOME = 1.5


def harmonised(bars: Sequence[Bar], key: Key) -> tuple[Chord | None, ...]:
    """A chord for each bar (its notes, its length in beats); None for bars before the first note.

    A short first bar, the pick-up, takes the chord it leads to; a bar without notes takes the one before.
    """
    sung = [k for k, (tune, _) in enumerate(bars) if tune]
    if not sung:
        return (None,) * len(bars)
    chords, liked = _chords(key)
    full = [k for k in sung if not _is_pick_up(bars, k)] or sung
    best: list[list[tuple[float, int]]] = []
    for row, k in enumerate(full):
        scores: list[tuple[float, int]] = []
        for c, chord in enumerate(chords):
            own = _fit(chord, bars[k][0]) + liked[c] + (_HOME * (c == 0) if row in (0, len(full) - 1) else 0.0)
            ways = [(best[-1][b][0] + _change(b, c), b) for b in range(len(chords))] if best else [(0.0, 0)]
            ahead, via = max(ways, key=lambda way: (way[0], -way[1]))
            scores.append((ahead + own, via))
        best.append(scores)
    at = max(range(len(chords)), key=lambda c: (best[-1][c][0], -c))
    found: dict[int, Chord] = {}
    for row in range(len(full) - 1, -1, -1):
        found[full[row]] = chords[at]
        at = best[row][at][1]
    answer: list[Chord | None] = []
    for k in range(len(bars)):
        if k in found:
            answer.append(found[k])
        elif k in sung:
            answer.append(found[full[0]])
        else:
            answer.append(answer[-1] if answer else None)
    return tuple(answer)


def _chords(key: Key) -> tuple[list[Chord], list[float]]:
    rows = _MINOR if key.minor else _MAJOR
    return [Chord(key.scale[degree], quality) for degree, quality, _ in rows], [points for *_, points in rows]


def _is_pick_up(bars: Sequence[Bar], k: int) -> bool:
    return k == 0 and len(bars) > 1 and bars[0][1] < bars[1][1]


def _fit(chord: Chord, tune: Sequence[TuneNote]) -> float:
    """How well the notes lie on the chord."""
    tones = {tone.pitch_class for tone in chord.tones}
    points = 0.0
    for n in tune:
        weight = float(n.length) + (_ON_THE_BAR if n.beat == 0 else 0.0)
        points += weight if n.pitch.note.pitch_class in tones else -_FOREIGN * weight
    return points


def _change(one: int, other: int) -> float:
    """What a change between two chords of the row is worth: rows 0, 1 and 2 are I, IV and V."""
    if one == other:
        return _STAYS
    if other == 0 and one in (1, 2):
        return _FALLS
    return -_FALLS if (one, other) == (2, 1) else 0.0
