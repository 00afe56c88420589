"""Plucks from a pattern (picking hand) over chord shapes (fretting hand).

The pattern's bars are taken in turn, one for each bar of the progression. A thumb role goes to the
string the shape gives it; a string that the shape mutes, or that the thumb takes at that instant, falls
to the nearest one that sounds for thumb or fingers, and the pluck says so in `why`. Where the chord
changes inside a bar, the thumb's next note is the new root.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise, product

from coach.errors import BadShape
from coach.guitar.bass import THUMB_STRINGS, Bass, bass_of
from coach.guitar.grip import Hand
from coach.guitar.open_shapes import ShapeBook
from coach.guitar.search import best_grip
from coach.guitar.shape import HIGHEST_FRET, Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord
from coach.music.meter import Meter
from coach.picking.pattern import Aim, Pattern, PatternBar
from coach.picking.plucks import Pluck, swing_beat

FINGER_STRINGS = (3, 2, 1)


@dataclass(frozen=True)
class Hold:
    """From `beat` of the bar on the fretting hand holds `shape` for `chord`.

    Shape and bass are None where nothing is picked; for no chord that is the usual.
    """

    beat: Fraction
    chord: Chord | None
    shape: Shape | None
    bass: Bass | None


@dataclass(frozen=True)
class HeldBar:
    """The holds of one bar, the first at beat 0."""

    holds: tuple[Hold, ...]

    def at(self, beat: Fraction) -> Hold:
        """What is held on `beat`."""
        return next(h for h in reversed(self.holds) if h.beat <= beat)

    @property
    def name(self) -> str:
        """The bar's chords in one string: `F G`, `N`."""
        return " ".join(str(h.chord) if h.chord else "N" for h in self.holds)


def hold_bars(
    bars: Sequence[Sequence[Chord | None]],
    meter: Meter,
    book: ShapeBook,
    pins: Mapping[str, Shape] | None = None,
    tuning: Tuning = STANDARD,
    hand: Hand = Hand(),  # noqa: B008  (a frozen value)
) -> tuple[HeldBar, ...]:
    """Give each chord its shape: a pinned one, or the book's first, or the easiest of all for this hand.

    Chords of a bar share it equally. Raises BadShape when the hand can hold no shape of a chord.
    """
    pins = pins or {}
    held = []
    for bar in bars:
        holds = []
        for k, chord in enumerate(bar):
            beat = Fraction(k * meter.beats, len(bar))
            if chord is None:
                holds.append(Hold(beat, None, None, None))
            else:
                shape = pins.get(str(chord)) or _usual_shape(chord, book, tuning, hand)
                holds.append(Hold(beat, chord, shape, bass_of(shape, chord, tuning)))
        held.append(HeldBar(tuple(holds)))
    return tuple(held)


def _usual_shape(chord: Chord, book: ShapeBook, tuning: Tuning, hand: Hand) -> Shape:
    try:
        return book.shapes(chord, tuning)[0]
    except BadShape:  # not a chord, or a tuning, of the book's
        return best_grip(chord, hand, tuning).shape


def realise(
    pattern: Pattern, bars: Sequence[HeldBar], *, loops: int = 1, tuning: Tuning = STANDARD, capo: int = 0
) -> tuple[Pluck, ...]:
    """Every pluck of the pattern over `bars`, `loops` times round, in order of bar, beat and string (lowest first).

    Raises BadShape where the capo pushes a fret past the neck's end.
    """
    plucks: list[Pluck] = []
    for number in range(len(bars) * loops):
        held = bars[number % len(bars)]
        written = pattern.bars[number % len(pattern.bars)]
        plucks += _realise_bar(pattern, written, held, number, tuning, capo)
    return tuple(plucks)


def _realise_bar(
    pattern: Pattern, written: PatternBar, held: HeldBar, number: int, tuning: Tuning, capo: int
) -> list[Pluck]:
    plucks: list[Pluck] = []
    last_root_beat = Fraction(0)  # where the newest hold begins whose root the thumb has played
    for slot in sorted({aim.slot for aim in written.aims}):
        beat = pattern.meter.slot_beat(slot, pattern.slots)
        hold = held.at(beat)
        if hold.shape is None or hold.bass is None:
            continue
        aims = [aim for aim in written.aims if aim.slot == slot]
        placed = _place_aims(aims, hold.shape, hold.bass, root_first=hold.beat > last_root_beat)
        if any(aim.finger == "p" for aim in aims):
            last_root_beat = hold.beat
        for aim, string, fret, why in placed:
            if capo + fret > HIGHEST_FRET:
                what = f"fret {fret} of string {string} with the capo at {capo} lies past the end of the neck"
                raise BadShape(what, mend=f"use frets 0 to {HIGHEST_FRET - capo}, or a lower capo")
            midi = tuning.open_midi(string) + capo + fret
            role = hold.bass.role(string) if aim.finger == "p" else "-"
            where = swing_beat(beat, pattern.share)
            plucks.append(Pluck(number, beat, where, string, fret, midi, aim.finger, role, aim.stress, why))
    plucks.sort(key=lambda p: (p.beat, -p.string))
    return plucks


Placed = tuple[Aim, int, int, str]


def _place_aims(aims: Sequence[Aim], shape: Shape, bass: Bass, *, root_first: bool) -> list[Placed]:
    """(aim, string, fret, why) for one instant: the thumb comes first, the fingers share what is left."""
    thumb = [_place_thumb(aim, shape, bass, root_first) for aim in aims if aim.finger == "p"]
    return thumb + _place_fingers(
        [aim for aim in aims if aim.finger != "p"], shape, {string for _, string, _, _ in thumb}
    )


def _place_thumb(aim: Aim, shape: Shape, bass: Bass, root_first: bool) -> Placed:
    """Where the thumb goes: the string of its role, or the nearest one that sounds, strings 6 to 4 before the rest."""
    string, why = aim.string or bass.string(aim.role or "r"), ""
    if root_first and aim.role not in ("", "r"):
        string, why = bass.r, "the chord changes here, so the thumb plays its root"
    fret = aim.fret if aim.fret is not None else shape.fret(string)
    if fret is None:
        meant = string
        string = min(shape.sounding, key=lambda s: (s not in THUMB_STRINGS, abs(s - meant), s))
        fret, why = shape.fret(string) or 0, f"string {meant} is muted, so {string} is plucked"
    return aim, string, fret, why


def _place_fingers(aims: Sequence[Aim], shape: Shape, taken: set[int]) -> list[Placed]:
    """Give each finger a string of its own that the thumb has not taken.

    A finger that cannot have its string moves to the nearest of strings 3 to 1; the fingers keep their order
    across the strings, so a neighbour makes room rather than let two fingers cross. With more fingers than
    strings one stays silent. A note at a written fret is a tune's: it never moves, and gives way to the thumb only.
    """
    aims = sorted(aims, key=lambda a: -a.string)
    if all(_can_keep_string(aim, shape, taken) for aim in aims):
        return [(aim, aim.string, _fret_at(aim, aim.string, shape), "") for aim in aims]
    # At most three fingers and a handful of strings: trying every way is quick and surely finds the best.
    best = min(
        (way for way in product(*(_possible_strings(aim, shape, taken) for aim in aims)) if _in_order(way)),
        key=lambda way: (way.count(0), _count_moves(aims, way), sum(map(abs, _string_moves(aims, way))), way),
    )
    return [
        (aim, string, _fret_at(aim, string, shape), _move_reason(aim, string, shape, taken))
        for aim, string in zip(aims, best, strict=True)
        if string
    ]


def _can_keep_string(aim: Aim, shape: Shape, taken: set[int]) -> bool:
    return aim.string not in taken and (aim.fret is not None or shape.fret(aim.string) is not None)


def _possible_strings(aim: Aim, shape: Shape, taken: set[int]) -> list[int]:
    """Strings this finger could pluck, 0 for none."""
    own = [aim.string] if _can_keep_string(aim, shape, taken) else []
    if aim.fret is not None:
        return [*own, 0]
    return [*own, *(s for s in FINGER_STRINGS if s in shape.sounding and s not in taken and s not in own), 0]


def _in_order(way: Sequence[int]) -> bool:
    """True when the strings in use fall strictly, as the wanted ones do."""
    used = [s for s in way if s]
    return all(low > high for low, high in pairwise(used))


def _string_moves(aims: Sequence[Aim], way: Sequence[int]) -> list[int]:
    return [string - aim.string for aim, string in zip(aims, way, strict=True) if string]


def _count_moves(aims: Sequence[Aim], way: Sequence[int]) -> int:
    return sum(1 for by in _string_moves(aims, way) if by)


def _fret_at(aim: Aim, string: int, shape: Shape) -> int:
    return aim.fret if aim.fret is not None and string == aim.string else shape.fret(string) or 0


def _move_reason(aim: Aim, string: int, shape: Shape, taken: set[int]) -> str:
    if string == aim.string:
        return ""
    if shape.fret(aim.string) is None:
        return f"string {aim.string} is muted, so {string} is plucked"
    who = "the thumb" if aim.string in taken else "another finger"
    return f"{who} has string {aim.string}, so {string} is plucked"
