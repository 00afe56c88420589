"""Candidate grips for each chord of a route: the cheapest that keep what the player asked for.

A pin fixes a shape, a wanted top note the highest sound; both by chord symbol or by position.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

from coach.errors import BadShape
from coach.guitar.bass import bass_of
from coach.guitar.fingering import MUTED, OPEN, Fingering, find_fingerings
from coach.guitar.grip import Grip, Hand
from coach.guitar.neck import Neck
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, STRINGS, Tuning
from coach.music.chords import Chord
from coach.music.notes import Note, Pitch, pitch_of, spell_pitch

CANDIDATES = 24

Pins = Mapping[int | str, Shape]
Tops = Mapping[int | str, Note | Pitch]
FindGrips = Callable[[Chord], Sequence[Grip]]
T = TypeVar("T")


def reachable_fingerings(frets: tuple[int | None, ...], hand: Hand, capo: int = 0) -> list[Fingering]:
    """Every way to hold these frets (string 6 first) that lies within the hand's stretch, cheapest first."""
    lowest = min((fret for fret in frets if fret), default=0)
    pattern = tuple(MUTED if f is None else OPEN if f == 0 else f - lowest for f in frets)
    at_mm = Neck(hand.scale_mm, capo).fingers_mm
    return [
        f
        for f in find_fingerings(pattern, hand.thumb, hand.barres)
        if all(at_mm[high + lowest] - at_mm[low + lowest] <= share * hand.span_mm for low, high, share in f.pairs)
    ]


def choose_candidates(
    chords: Sequence[Chord | None],
    find: FindGrips,
    tuning: Tuning = STANDARD,
    *,
    pins: Pins,
    tops: Tops,
    candidates: int = CANDIDATES,
) -> list[tuple[Grip | None, ...]]:
    """The candidates for each position: the cheapest grips that keep its pin and its top note. Raises BadShape."""
    choices: list[tuple[Grip | None, ...]] = []
    by_chord: dict[Chord, Sequence[Grip]] = {}
    for at, chord in enumerate(chords):
        if chord is None:
            choices.append((None,))
            continue
        if chord not in by_chord:
            by_chord[chord] = find(chord)
        grips = by_chord[chord]
        pin, top = _wish_at(pins, at, chord), _wish_at(tops, at, chord)
        if pin is not None:
            grips = pinned_grips(chord, pin, grips, tuning)
        elif not grips:
            raise BadShape(
                f"no shape for {chord} is within this hand's reach",
                mend="allow a longer stretch, barres, the thumb or more frets, or pin a shape of your own",
            )
        if top is not None:
            grips = _keep_top(chord, top, grips, tuning)
        choices.append(tuple(grips[:candidates]))
    return choices


def _wish_at(asked: Mapping[int | str, T], at: int, chord: Chord) -> T | None:
    return asked.get(at, asked.get(str(chord)))


def pinned_grips(chord: Chord, shape: Shape, known: Sequence[Grip], tuning: Tuning) -> tuple[Grip, ...]:
    """The grips that hold the pinned shape: those known, in all their fingerings, else one with fingers given by rule.

    Raises BadShape when no hand could hold it.
    """
    same = tuple(g for g in known if g.shape.frets == shape.frets)
    meant = tuple(g for g in same if g.shape.fingers == shape.fingers)
    if meant or same:
        return meant or same
    fingered = add_fingers(shape)
    pcs = {m % 12 for s in shape.sounding if (m := shape.midi(s, tuning)) is not None}
    steps = ("root", "second", "third", "fourth", "fifth", "sixth", "seventh")
    missing = tuple(
        steps[(tone.step - chord.root.step) % 7] for tone in chord.tones if tone.pitch_class not in pcs
    )
    # The player chose it, so it costs no more than the hardest known; it is the only one in its place.
    cost = max((g.cost for g in known), default=0.0)
    bass = bass_of(fingered, chord, tuning)
    return (Grip(chord, fingered, _barre_of(fingered), bass, missing, 0.0, cost, (("pinned", cost),)),)


def add_fingers(shape: Shape) -> Shape:
    """The shape with a finger for each pressed string, low frets first; the first finger lies flat if need be.

    Raises BadShape when it takes more than four fingers.
    """
    if shape.fingers.strip("."):
        return shape
    pressed = sorted((fret, -string) for string in STRINGS if (fret := shape.fret(string)))
    fingers = dict.fromkeys(STRINGS, ".")
    lowest = [p for p in pressed if p[0] == pressed[0][0]]
    rest = [p for p in pressed if p not in lowest]
    flat = len(pressed) > 4
    if flat and (len(rest) > 3 or not all(shape.fret(s) for s in range(-lowest[0][1], -lowest[-1][1], -1))):
        raise BadShape(f"{shape} takes more than four fingers", mend="leave a string out, like x32010 for 332010")
    if flat:
        fingers |= {-string: "1" for _, string in lowest}
    for number, (_, string) in enumerate(rest if flat else pressed, start=2 if flat else 1):
        fingers[-string] = str(number)
    return Shape(shape.frets, "".join(fingers[s] for s in STRINGS))


def _barre_of(shape: Shape) -> tuple[int, int, int] | None:
    """The finger that presses more than one string."""
    for finger in "1234":
        strings = [6 - k for k, c in enumerate(shape.fingers) if c == finger]
        if len(strings) > 1:
            return shape.fret(strings[0]) or 0, strings[0], strings[-1]
    return None


def _keep_top(chord: Chord, top: Note | Pitch, known: Sequence[Grip], tuning: Tuning) -> list[Grip]:
    """The grips whose highest sound is `top`. Raises BadShape that names the nearest there is."""

    def highest(grip: Grip) -> int:
        return max(m for s in grip.shape.sounding if (m := grip.shape.midi(s, tuning)) is not None)

    if isinstance(top, Pitch):
        fitting = [g for g in known if highest(g) == top.midi]
    else:
        fitting = [g for g in known if highest(g) % 12 == top.pitch_class]
    if fitting:
        return fitting
    wanted = top.midi if isinstance(top, Pitch) else top.pitch_class
    period = 10_000 if isinstance(top, Pitch) else 12

    def distance(midi: int) -> int:
        return min((midi - wanted) % period, (wanted - midi) % period)

    nearest = min({highest(g) for g in known}, key=lambda m: (distance(m), m))
    names = {n.pitch_class: n for n in (*chord.tones, chord.lowest)}
    name = names.get(nearest % 12, pitch_of(nearest).note)
    shown = spell_pitch(nearest, name) if isinstance(top, Pitch) else name
    raise BadShape(f"no shape for {chord} within reach has {top} on top", mend=f"the nearest top note is {shown}")
