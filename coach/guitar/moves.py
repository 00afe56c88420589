"""Changing from one grip to the next: which fingers stay, slide, move or land, what rings on, and what it costs.

A finger that presses the same fret in both grips stays down and costs nothing (flattening it over more strings, or
raising it again, costs a little). One that keeps its string slides there: a guide finger. Any other is lifted and
put down: it costs the way it travels and the aim it has to take. A finger that was not down comes with the hand.
The factors are those of the published work on fingering (Sayegh 1989; Heijink & Meulenbroek 2002: travel of the
hand, spread of the fingers); the weights are ours, light enough that in the everyday progressions of open chords the
shapes stay those the trade uses, and a change decides only between shapes that are nearly as easy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot
from typing import NamedTuple

from coach.errors import BadInput
from coach.guitar.grip import Grip, Hand
from coach.guitar.neck import Neck
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.notes import pitch_of

FINGERS = "1234T"
TOP_STRINGS = (3, 2, 1)

# Middle of one string to the next over the frets (common practice, no source).
STRING_GAP_MM = 8.0


@dataclass(frozen=True)
class Weights:
    """What counts in a route, all in the unit of a grip's own cost.

    shape    times the cost of each shape
    travel   for each millimetre a finger travels
    place    for each finger that is put down anew
    slide    for each finger that slides along its string
    flatten  for each finger that stays at its fret and takes more or fewer strings
    tone     for each tone of strings 3 to 1 that the next chord has too and that is let go
    """

    shape: float = 1.0
    travel: float = 0.005
    place: float = 0.25
    slide: float = 0.1
    flatten: float = 0.12
    tone: float = 0.12

    def __post_init__(self) -> None:
        if not all(value >= 0 for value in vars(self).values()):
            raise BadInput("a weight is less than nothing", mend="give weights of 0 or more")


USUAL = Weights()


class Touch(NamedTuple):
    """Where a finger is: its fret, and the strings it presses from `low` (the larger number) to `high`."""

    fret: int
    low: int
    high: int


class Stay(NamedTuple):
    """A finger that stays down; `whole` is False where it takes more or fewer strings than before."""

    finger: str
    string: int
    fret: int
    whole: bool


class Slide(NamedTuple):
    """A guide finger: it keeps its string and slides from one fret to another."""

    finger: str
    string: int
    fret: int
    to: int


@dataclass(frozen=True)
class Change:
    """One change of grip.

    held       the fingers that stay down
    slides     the fingers that slide on their string
    moved      the fingers that are lifted and put down elsewhere, or come down anew
    lifted     the fingers that come off and are not needed
    rings      the pitches on strings 3 to 1 that both grips sound, lowest first
    travel_mm  the way all fingers travel together, in millimetres
    cost       how hard the change is, without the shape that it leads to
    """

    held: tuple[Stay, ...] = ()
    slides: tuple[Slide, ...] = ()
    moved: tuple[str, ...] = ()
    lifted: tuple[str, ...] = ()
    rings: tuple[str, ...] = ()
    travel_mm: float = 0.0
    cost: float = 0.0

    def __str__(self) -> str:
        """What the hand does, as one says it to a pupil."""
        if self.held and not (self.slides or self.moved or self.lifted) and all(s.whole for s in self.held):
            return "nothing moves"
        parts = []
        if self.held:
            names = [f"{_finger_name(s.finger)} (string {s.string}, fret {s.fret})" for s in self.held]
            parts.append(f"{_join_words(names)} {'stays' if len(names) == 1 else 'stay'} down")
        parts += [f"{_finger_name(s.finger)} slides along string {s.string} to fret {s.to}" for s in self.slides]
        if self.moved:
            verb = "moves" if len(self.moved) == 1 else "move"
            parts.append(f"{_join_words([_finger_name(f) for f in self.moved])} {verb}")
        elif self.lifted:
            parts.append(
                f"{_join_words([_finger_name(f) for f in self.lifted])} {'lifts' if len(self.lifted) == 1 else 'lift'}"
            )
        if self.rings:
            parts.append(f"{_join_words(list(self.rings))} can ring on")
        return "; ".join(parts) or "the hand is free"


def touches(grip: Grip) -> dict[str, Touch]:
    """Where each finger of the grip is."""
    by_finger: dict[str, Touch] = {}
    for row, (finger, fret) in enumerate(zip(grip.shape.fingers, grip.shape.frets, strict=True)):
        if finger != "." and fret:
            low = by_finger[finger].low if finger in by_finger else 6 - row
            by_finger[finger] = Touch(fret, low, 6 - row)
    return by_finger


class PreparedGrip(NamedTuple):
    """A grip with what the cost of a change needs, worked out once; `codes` are the touches as numbers, 0 for none."""

    touches: tuple[Touch | None, ...]
    codes: tuple[int, ...]
    home_mm: float | None
    tops: tuple[int, ...]
    wanted: frozenset[int]
    grip: Grip


class Moves:
    """Changes between grips on one neck with one capo; equal pairs of finger places are worked out once."""

    def __init__(
        self, hand: Hand | None = None, tuning: Tuning = STANDARD, capo: int = 0, weights: Weights = USUAL
    ) -> None:
        self.tuning = tuning
        self.capo = capo
        self.weights = weights
        self._at_mm = Neck((hand or Hand()).scale_mm, capo).fingers_mm
        self._known: dict[int, float] = {}

    def prepare(self, grip: Grip) -> PreparedGrip:
        """The grip as `cost` wants it."""
        down = touches(grip)
        # Where the first finger is or would be: one fret lower for each finger above it.
        firsts = [t.fret - int(f) + 1 for f, t in down.items() if f != "T"]
        home = self._at_mm[max(min(firsts), 1)] if firsts else None
        midis = [grip.shape.midi(s, self.tuning, self.capo) for s in TOP_STRINGS]
        chord = grip.chord
        # The capo raises what sounds, not the chord's name.
        wanted = frozenset((n.pitch_class + self.capo) % 12 for n in (*chord.tones, chord.lowest))
        at = tuple(down.get(f) for f in FINGERS)
        codes = tuple(0 if t is None else (t.fret << 6) + (t.low << 3) + t.high for t in at)
        return PreparedGrip(at, codes, home, tuple(m for m in midis if m is not None), wanted, grip)

    def cost(self, a: PreparedGrip | None, b: PreparedGrip | None) -> float:
        """How hard it is to go from `a` to `b`; None is a hand at rest, which costs nothing."""
        if a is None or b is None or a is b:
            return 0.0
        known, total, landing = self._known, 0.0, 0
        for finger, (before, after) in enumerate(zip(a.codes, b.codes, strict=True)):
            # Where the finger stays as it is there is nothing to add, and where it is lifted neither.
            if before == after or not after:
                continue
            if not before:
                landing += 1
                continue
            pair = before << 12 | after
            spent = known.get(pair)
            if spent is None:
                spent = known[pair] = self._finger_cost(*_both_touches(a, b, finger))[1]
            total += spent
        if landing:
            total += landing * (self.weights.place + self.weights.travel * _hand_travel(a, b))
        for midi in a.tops:
            if midi not in b.tops and midi % 12 in b.wanted:
                total += self.weights.tone
        return total

    def _finger_cost(self, before: Touch, after: Touch) -> tuple[float, float]:
        """(millimetres, cost) of one finger that is down in both grips."""
        w = self.weights
        if _stays(before, after):
            return 0.0, 0.0 if before == after else w.flatten
        along = abs(self._at_mm[before.fret] - self._at_mm[after.fret])
        if _slides(before, after):
            return along, w.slide + w.travel * along
        across = abs(before.low + before.high - after.low - after.high) / 2 * STRING_GAP_MM
        way = hypot(along, across)
        return way, w.place + w.travel * way

    def change(self, a: PreparedGrip | None, b: PreparedGrip | None) -> Change:
        """The change from `a` to `b` finger by finger."""
        if a is None or b is None:
            return Change()
        held, slides, moved, lifted, travel = [], [], [], [], 0.0
        for finger, before, after in zip(FINGERS, a.touches, b.touches, strict=True):
            if after is None:
                lifted += [finger] if before else []
                continue
            if before is None:
                moved.append(finger)
                travel += _hand_travel(a, b)
                continue
            travel += self._finger_cost(before, after)[0]
            if _stays(before, after):
                held.append(Stay(finger, min(before.low, after.low), after.fret, before == after))
            elif _slides(before, after):
                slides.append(Slide(finger, after.low, before.fret, after.fret))
            else:
                moved.append(finger)
        rings = [self._pitch_name(m, b.grip) for m in sorted(set(a.tops) & set(b.tops))]
        cost = self.cost(a, b)
        return Change(tuple(held), tuple(slides), tuple(moved), tuple(lifted), tuple(rings), travel, cost)

    def _pitch_name(self, midi: int, grip: Grip) -> str:
        """The pitch as the grip's chord spells it, without the capo (the name the player thinks in)."""
        played = midi - self.capo
        names: Mapping[int, str] = {n.pitch_class: str(n) for n in grip.chord.tones}
        return names.get(played % 12, str(pitch_of(played).note))


def _both_touches(a: PreparedGrip, b: PreparedGrip, finger: int) -> tuple[Touch, Touch]:
    """Where a finger that is down in both grips is."""
    before, after = a.touches[finger], b.touches[finger]
    assert before is not None
    assert after is not None
    return before, after


def _stays(before: Touch, after: Touch) -> bool:
    return before.fret == after.fret and before.low >= after.high and after.low >= before.high


def _slides(before: Touch, after: Touch) -> bool:
    return before.low == after.low and before.high == after.high


def _hand_travel(a: PreparedGrip, b: PreparedGrip) -> float:
    """How far the hand goes along the neck, in millimetres; a hand with no finger down goes along for nothing."""
    return 0.0 if a.home_mm is None or b.home_mm is None else abs(a.home_mm - b.home_mm)


def _finger_name(finger: str) -> str:
    return "the thumb" if finger == "T" else f"finger {finger}"


def _join_words(words: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
