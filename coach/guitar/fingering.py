"""Which fingers can hold a fret pattern: at most four and the thumb, one barre, no crossing.

What counts as a way to hold a pattern (common practice, no source; the search's tests follow the same words):

- Each fretted string is held by one of the fingers 1 to 4, or string 6 by the thumb if it comes over the neck.
- Each finger is at one fret. One finger at most holds several strings, two or more: the barre. From its lowest string
  to its highest every string sounds and none is lower than the barre or held at its fret by another finger; on the
  side of string 1, where the finger lies across, no sounding string is lower either.
- The hand says how wide a barre may be (`full` six strings, `small` three, `none` no barre); a barre of another finger
  than the first, or beside the thumb over the neck, has at most three strings.
- No crossing: a higher finger is at a higher fret, or at the same fret nearer to string 1.
- The thumb stands within one fret of the lowest fret a finger holds.
- Stretch: all that is down lies within the hand's longest comfortable stretch; fingers next to each other reach 0.75
  of it, two apart 0.9 (the shares are ours).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from coach.guitar.cost import SMALL, Parts, hold_parts

MUTED, OPEN = -2, -1
REACH = {1: 0.75, 2: 0.9, 3: 1.0}  # share of the longest stretch by how many fingers apart
WIDEST_BARRE = {"full": 6, "small": SMALL, "none": 1}

# MUTED, OPEN, or how many frets above the lowest fretted string: string 6 to string 1.
FretPattern = tuple[int, ...]


@dataclass(frozen=True)
class Fingering:
    """One way to hold a fret pattern.

    fingers   `1 2 3 4 T` or `.` for string 6 to string 1
    barre     (frets above the lowest, lowest string, highest string), None without
    pairs     (lower fret, higher fret, share of the longest stretch that may lie between them)
    """

    fingers: str
    barre: tuple[int, int, int] | None
    pairs: tuple[tuple[int, int, float], ...]
    cost: float
    parts: Parts


# A finger's strings (lowest first) and its fret.
_Press = tuple[int, tuple[int, ...]]


@lru_cache(maxsize=100_000)
def find_fingerings(pattern: FretPattern, thumb: bool, barres: str) -> tuple[Fingering, ...]:
    """Every way to hold `pattern`, cheapest first; reach, which depends on the place on the neck, is not looked at."""
    fingerings = []
    for over in (False, True) if thumb and pattern[0] >= 0 else (False,):
        by_fingers = tuple(MUTED if over and k == 0 else fret for k, fret in enumerate(pattern))
        lowest = min((fret for fret in by_fingers if fret >= 0), default=pattern[0])
        if over and abs(pattern[0] - lowest) > 1:
            continue
        widest = min(WIDEST_BARRE[barres], SMALL) if over else WIDEST_BARRE[barres]
        for presses in _share_strings(by_fingers, widest):
            fingerings += [
                _assign_fingers(presses, fingers, over) for fingers in combinations((1, 2, 3, 4), len(presses))
            ]
    usable = [fingering for fingering in fingerings if fingering is not None]
    return tuple(sorted(usable, key=lambda fingering: (round(fingering.cost, 6), fingering.fingers)))


def _share_strings(pattern: FretPattern, widest: int) -> Iterator[list[_Press]]:
    """Every way to share the fretted strings among at most four fingers, in the order fingers must have."""
    single = [(fret, (6 - k,)) for k, fret in enumerate(pattern) if fret >= 0]
    for flat in (None, *_barres(pattern, widest)):
        presses = single if flat is None else [flat, *(p for p in single if p[1][0] not in _held(flat))]
        if len(presses) <= 4:
            yield sorted(presses, key=lambda press: (press[0], -press[1][0]))


def _held(press: _Press) -> tuple[int, ...]:
    return press[1]


def _barres(pattern: FretPattern, widest: int) -> Iterator[_Press]:
    """Every barre the pattern allows."""
    for fret in sorted({f for f in pattern if f >= 0}):
        strings = [6 - k for k, f in enumerate(pattern) if f == fret]
        for first, last in combinations(range(len(strings)), 2):
            low, high = strings[first], strings[last]
            under = pattern[6 - low : 7 - high]
            beside = pattern[7 - high :]
            if low - high < widest and min(under) >= fret and all(f >= fret or f == MUTED for f in beside):
                yield (fret, tuple(strings[first : last + 1]))


def _assign_fingers(presses: list[_Press], fingers: tuple[int, ...], over: bool) -> Fingering | None:
    """The presses with these fingers in order; None where a finger is flat that may not be so wide."""
    marks = ["T" if over else "."] + ["."] * 5
    barre, flat = None, None
    for finger, (fret, strings) in zip(fingers, presses, strict=True):
        for string in strings:
            marks[6 - string] = str(finger)
        if len(strings) > 1:
            wide = strings[0] - strings[-1] + 1
            if finger > 1 and wide > SMALL:
                return None
            barre, flat = (fret, strings[0], strings[-1]), (finger, wide)
    down = [(finger, fret) for finger, (fret, _) in zip(fingers, presses, strict=True)]
    pairs = tuple((a[1], b[1], REACH[b[0] - a[0]]) for a, b in combinations(down, 2) if b[1] > a[1] and b[0] - a[0] < 3)
    parts = hold_parts(down, flat, over)
    return Fingering("".join(marks), barre, pairs, sum(points for _, points in parts), parts)
