"""The cost of a shape: how hard it is to hold and to pick over, a sum of named parts, 0 for all strings open.

What counts is taken from published work on the fretting hand: the position along the neck and the fingers that are
down (Sayegh 1989, Computer Music Journal 13(3)), barres and the limits of one hand position (Radicioni & Lombardo),
finger spread with the joints kept near the middle of their range (Heijink & Meulenbroek 2002, Journal of Motor
Behavior 34). That a thumb wants root, alternate and fifth on strings 6 to 4 and the fingers three treble strings is
common practice, no source. The weights are ours; one point is about one more finger down.
"""

from __future__ import annotations

from itertools import pairwise

from coach.guitar.bass import Bass

# The fretting hand.
FINGER = 1.0  # each finger down; a barre is one finger
WEAK = {"3": 0.05, "4": 0.25}  # ring and little finger are the weaker ones
APART = 0.6  # each fret that two neighbours in use lie farther apart than their fingers naturally do
SQUEEZED = 0.1  # each fret that they lie closer
STRETCH = 3.0  # times (stretch / longest comfortable stretch) squared
POSITION = 0.4  # each fret that the lowest finger stands above the first
SMALL_BARRE, FULL_BARRE = 1.2, 2.5  # two or three strings; four to six
OTHER_FINGER_FLAT = 0.8  # a barre laid with another finger than the first
THUMB = 1.2  # the thumb over the neck, which turns the wrist
INNER_MUTE = 2.6  # each muted string between sounding ones: a finger must lean on it

# What the picking hand is left with.
NO_ALTERNATE = 2.0  # nothing for the thumb to alternate with
BORROWED_ALTERNATE = 1.0  # the thumb must borrow string 3
NO_FIFTH = 0.4  # no second alternate: the thumb falls back on the root
SILENT_BASS = 0.3  # each string below the lowest that sounds: one bass string fewer
NO_TREBLE = 2.3  # each of strings 3 to 1 that does not sound
FIFTH_UNDER_ROOT = 1.0  # the fifth lies lowest: good for the thumb, less so for a full stroke
UNISON, TURNED = 0.3, 1.0  # a string sounds as high as the sounding string below it, or lower: rolls lose their order
MISSING = 0.7  # each tone left out

SMALL = 3  # a barre over more strings than this is a full one

Parts = tuple[tuple[str, float], ...]


def hold_parts(fingers: list[tuple[int, int]], barre: tuple[int, int] | None, thumb: bool) -> Parts:
    """What holding costs wherever on the neck it is done.

    `fingers` are (finger 1..4, its fret) in the order of fingers, `barre` (the finger laid flat, strings it covers).
    """
    weak = sum(WEAK.get(str(finger), 0.0) for finger, _ in fingers)
    spread = 0.0
    for (finger, fret), (following, higher) in pairwise(fingers):
        over = (higher - fret) - (following - finger)
        spread += APART * over if over > 0 else SQUEEZED * -over
    parts = [("fingers down", FINGER * len(fingers) + weak), ("fingers off their usual places", spread)]
    if barre:
        finger, strings = barre
        flat = FULL_BARRE if strings > SMALL else SMALL_BARRE
        parts.append(("full barre" if strings > SMALL else "small barre", flat))
        parts.append(("barre with another finger than the first", OTHER_FINGER_FLAT if finger > 1 else 0.0))
    parts.append(("thumb over the neck", THUMB if thumb else 0.0))
    return tuple((why, points) for why, points in parts if points)


def place_parts(stretch_mm: float, longest_mm: float, lowest_fret: int) -> Parts:
    """What the place on the neck costs; `lowest_fret` 0 when no finger is down."""
    parts = (
        ("stretch", STRETCH * (stretch_mm / longest_mm) ** 2),
        ("place on the neck", POSITION * max(lowest_fret - 1, 0)),
    )
    return tuple((why, points) for why, points in parts if points)


def picking_parts(sounding: tuple[int, ...], bass: Bass, *, fifth_under_root: bool) -> Parts:
    """What the sounding strings (lowest first) and the thumb's three cost the picking hand."""
    inner = sounding[0] - sounding[-1] + 1 - len(sounding)
    trebles = sum(string not in sounding for string in (3, 2, 1))
    alternate = NO_ALTERNATE if bass.a == bass.r else BORROWED_ALTERNATE if bass.a < 4 else 0.0
    parts = (
        ("muted string inside", INNER_MUTE * inner),
        ("silent bass string", SILENT_BASS * (6 - sounding[0])),
        ("treble string missing", NO_TREBLE * trebles),
        ("no alternate bass" if bass.a == bass.r else "alternate bass on string 3", alternate),
        ("no fifth for the thumb", NO_FIFTH if bass.f in (bass.r, bass.a) else 0.0),
        ("fifth under the root", FIFTH_UNDER_ROOT if fifth_under_root else 0.0),
    )
    return tuple((why, points) for why, points in parts if points)


def turn_points(below: int, above: int) -> float:
    """What it costs that a string sounds `above` (MIDI number) and the next sounding string towards 6 `below`."""
    return TURNED if above < below else UNISON if above == below else 0.0


def order_parts(midi: list[int]) -> Parts:
    """What the order of the sounding pitches costs; `midi` from the lowest string up."""
    points = sum(turn_points(below, above) for below, above in pairwise(midi))
    return (("strings that do not rise in pitch", points),) if points else ()


def missing_parts(missing: tuple[str, ...]) -> Parts:
    """What the tones left out cost."""
    return tuple((f"no {tone}", MISSING) for tone in missing)
