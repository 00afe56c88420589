"""Every fingering of a chord within the hand's limits, easiest first: exhaustive, none of it looked up.

What counts as a fingering of a chord (common practice, no source):

- Each string is muted, open or held at a fret up to `max_fret` (counted from the capo). At least four strings sound,
  at least two of strings 3 to 1 among them.
- Only tones of the chord sound; a slash bass that is none of them sounds on the lowest string only.
- The lowest string sounds the bass asked for (after the slash, else the root). Where no bass is asked for and the
  chord has a perfect fifth, that fifth may lie lowest if the next string, 5 or 4, sounds the root: it is the thumb's
  second alternate (D x00232, C 332010). It is costed.
- All tones sound, but for the perfect fifth of chords of four or more tones and the ninth of chords of six or more
  (11, 13); `missing` tells them. Root, third (or the fourth or second in its place), seventh, an altered fifth and the
  tone that names the chord are never missing.
- A hand can hold it: see `coach.guitar.fingering`. Of several ways to hold one pattern the cheapest counts.

The strings are searched in two halves, 6 to 4 and 3 to 1, for each place of the hand; halves are paired only where
their tones make up the chord.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

from coach.errors import BadShape
from coach.guitar.bass import Bass, bass_of
from coach.guitar.cost import Parts, missing_parts, order_parts, picking_parts, place_parts, turn_points
from coach.guitar.fingering import MUTED, OPEN, WIDEST_BARRE, Hold, Pattern, holds
from coach.guitar.grip import Grip, Hand
from coach.guitar.neck import Neck
from coach.guitar.shape import HIGHEST_FRET, Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import FIFTH, QUALITIES, Chord

USUAL_MAX_FRET = 12
LEAST_STRINGS, LEAST_TREBLES = 4, 2
TONE_NAMES = {4: "fifth", 8: "ninth"}


def grips(
    chord: Chord,
    hand: Hand = Hand(),  # noqa: B008  (a frozen value)
    tuning: Tuning = STANDARD,
    *,
    capo: int = 0,
    max_fret: int = USUAL_MAX_FRET,
    limit: int | None = None,
) -> tuple[Grip, ...]:
    """Every fingering of `chord` as this module defines it, easiest first, or the `limit` easiest.

    Frets and names count from the capo, which only makes the neck shorter: C at capo 2 has the shapes of C and sounds
    D. Answers are kept: to ask again costs nothing. Raises BadShape for a hand or neck that cannot be.
    """
    check_reach(hand, capo, max_fret)
    if limit is not None:
        return _easiest(chord, hand, tuning, capo, max_fret, max(limit, 0))
    return _all(chord, hand, tuning, capo, max_fret)


def best_grip(
    chord: Chord,
    hand: Hand = Hand(),  # noqa: B008
    tuning: Tuning = STANDARD,
    *,
    capo: int = 0,
    max_fret: int = USUAL_MAX_FRET,
) -> Grip:
    """The easiest fingering of `chord`. Raises BadShape where the hand can hold none."""
    found = grips(chord, hand, tuning, capo=capo, max_fret=max_fret, limit=1)
    if not found:
        raise BadShape(
            f"no shape for {chord} is within this hand's reach up to fret {max_fret}",
            mend=f"allow a longer stretch or more frets, or give a shape yourself, like {chord}=x32010",
        )
    return found[0]


def check_reach(hand: Hand, capo: int, max_fret: int) -> None:
    """Raises BadShape for a stretch, string length, capo or highest fret that cannot be."""
    if not 0 < hand.span_mm <= 1000:
        raise BadShape(f"a stretch of {hand.span_mm:g} mm cannot be", mend="give the span as 40 to 200 mm, usual is 95")
    if hand.span_frets is not None and hand.span_frets < 1:
        raise BadShape(f"a span of {hand.span_frets} frets cannot be", mend="give 1 to 9 frets, usual is 4")
    if not 100 <= hand.scale_mm <= 2000:
        raise BadShape(f"a string of {hand.scale_mm:g} mm is no guitar's", mend="give 400 to 800 mm, usual is 648")
    if hand.barres not in WIDEST_BARRE:
        raise BadShape(f"'{hand.barres}' is not a kind of barre", mend="use one of " + ", ".join(WIDEST_BARRE))
    if not 0 <= capo < HIGHEST_FRET:
        raise BadShape(f"a capo at fret {capo} cannot be", mend="give a fret from 0 to 12")
    if not 0 <= max_fret <= HIGHEST_FRET - capo:
        raise BadShape(f"there is no fret {max_fret} to reach", mend=f"give a fret from 0 to {HIGHEST_FRET - capo}")


@lru_cache(maxsize=64)
def _all(chord: Chord, hand: Hand, tuning: Tuning, capo: int, max_fret: int) -> tuple[Grip, ...]:
    search = _Search(chord, hand, tuning, Neck(hand.scale_mm, capo), max_fret)
    return tuple(search.grip(found) for found in search.ranked())


@lru_cache(maxsize=4096)
def _easiest(chord: Chord, hand: Hand, tuning: Tuning, capo: int, max_fret: int, limit: int) -> tuple[Grip, ...]:
    search = _Search(chord, hand, tuning, Neck(hand.scale_mm, capo), max_fret)
    return tuple(search.grip(found) for found in search.ranked()[:limit])


def may_miss(interval: tuple[int, int], tones: int) -> bool:
    """Whether a chord of so many tones may go without this one: a perfect fifth from four, a ninth from six on."""
    return (interval == FIFTH and tones >= 4) or (interval[0] == 8 and tones >= 6)


# Three strings, lowest first: pattern in frets above the lowest, tones that sound (one bit each), strings that sound
# the root or bass wanted and the fifth (one bit each), whether a string stands at the lowest fret, how many sound, the
# pitches of the lowest and the highest string that do, and what their order costs.
@dataclass(frozen=True, slots=True)
class _Half:
    pattern: Pattern
    tones: int
    wanted: int
    fifths: int
    at_lowest: bool
    sounding: int
    first: int
    last: int
    turns: float


# cost, lowest fret, pattern, how it is held, tones, bass strings with the wanted bass, bass strings with the fifth
_Found = tuple[float, int, Pattern, Hold, int, int, int]


class _Search:
    """One search; the chord and the tuning as pitch classes, tones as bits."""

    def __init__(self, chord: Chord, hand: Hand, tuning: Tuning, neck: Neck, max_fret: int) -> None:
        self.chord, self.hand, self.tuning, self.neck, self.max_fret = chord, hand, tuning, neck, max_fret
        intervals = QUALITIES[chord.quality]
        classes = [(chord.root.pitch_class + semitones) % 12 for _, semitones in intervals]
        self.bit = {pitch_class: 1 << k for k, pitch_class in enumerate(classes)}
        spare = [(k, interval[0]) for k, interval in enumerate(intervals) if may_miss(interval, len(intervals))]
        self.names = {1 << k: TONE_NAMES[steps] for k, steps in spare}
        self.needed = sum(1 << k for k in range(len(classes))) & ~sum(self.names)
        self.bass_class = chord.lowest.pitch_class
        self.fifth_class = chord.fifth.pitch_class
        # Only the perfect fifth, and only where no bass is asked for, may lie under the root.
        self.fifth_may_lie_lowest = FIFTH in intervals and self.bass_class == chord.root.pitch_class
        self.open_midi = [pitch.midi for pitch in tuning.pitches]
        self.picking: dict[tuple[tuple[int, ...], int, int], tuple[float, Bass, Parts]] = {}

    def ranked(self) -> list[_Found]:
        """All fingerings, cheapest first; of equal ones the lower on the neck."""
        found = list(self._found())
        found.sort(key=lambda f: (round(f[0], 6), f[1], f[2]))
        return found

    def grip(self, found: _Found) -> Grip:
        """The finding as a value."""
        _, lowest, pattern, hold, tones, wanted, fifths = found
        frets = _frets(pattern, lowest)
        down = [fret for fret in frets if fret]
        stretch = self.neck.stretch_mm(min(down), max(down)) if down else 0.0
        missing = tuple(name for bit, name in self.names.items() if not tones & bit)
        _, bass, picking = self._picking(pattern, lowest, wanted, fifths)
        place = place_parts(stretch, self.hand.span_mm, lowest)
        midi = [pitch + fret for pitch, fret in zip(self.open_midi, frets, strict=True) if fret is not None]
        parts = (*hold.parts, *place, *picking, *order_parts(midi), *missing_parts(missing))
        barre = (hold.barre[0] + lowest, *hold.barre[1:]) if hold.barre else None
        cost = round(sum(points for _, points in parts), 6)
        return Grip(self.chord, Shape(frets, hold.fingers), barre, bass, missing, stretch, cost, parts)

    def _found(self) -> Iterator[_Found]:
        for lowest, places in self._places():
            reach = [self.neck.fingers_mm[fret] - self.neck.fingers_mm[lowest] for fret in places] or [0.0]
            place_cost = [sum(points for _, points in place_parts(mm, self.hand.span_mm, lowest)) for mm in reach]
            for bass, treble in self._pairs(lowest, places):
                pattern = bass.pattern + treble.pattern
                hold = self._held(pattern, reach)
                if hold is None:
                    continue
                tones = bass.tones | treble.tones
                wanted, fifths = bass.wanted, bass.fifths
                cost = hold.cost + place_cost[max(max(pattern), 0)] + self._picking(pattern, lowest, wanted, fifths)[0]
                missing = tuple(name for bit, name in self.names.items() if not tones & bit)
                cost += sum(points for _, points in missing_parts(missing))
                cost += bass.turns + treble.turns + turn_points(bass.last, treble.first)
                yield cost, lowest, pattern, hold, tones, wanted, fifths

    def _places(self) -> Iterator[tuple[int, range]]:
        """The places of the hand: the lowest fret held, and the frets within the stretch; 0 and none for no finger."""
        yield 0, range(0)
        fingers = self.neck.fingers_mm
        for lowest in range(1, self.max_fret + 1):
            most = self.max_fret if self.hand.span_frets is None else lowest + self.hand.span_frets - 1
            highest = lowest
            while highest < min(most, self.max_fret) and (
                fingers[highest + 1] - fingers[lowest] <= self.hand.span_mm
            ):
                highest += 1
            yield lowest, range(lowest, highest + 1)

    def _pairs(self, lowest: int, places: range) -> Iterator[tuple[_Half, _Half]]:
        """Halves that together make a fingering's sound."""
        by_tones: dict[int, list[_Half]] = defaultdict(list)
        for treble in self._halves(range(3, 6), places):
            if treble.sounding >= LEAST_TREBLES:
                by_tones[treble.tones].append(treble)
        for bass in self._halves(range(3), places):
            if not self._bass_is_right(bass):
                continue
            for tones, trebles in by_tones.items():
                if (tones | bass.tones) & self.needed != self.needed:
                    continue
                for treble in trebles:
                    if bass.sounding + treble.sounding >= LEAST_STRINGS and (
                        bass.at_lowest or treble.at_lowest or not lowest
                    ):
                        yield bass, treble

    def _halves(self, rows: range, places: range) -> Iterator[_Half]:
        """Every way three strings (rows from string 6) sound in one place of the hand."""
        lowest_rows = rows.start == 0
        options = [list(self._options(row, places, foreign=lowest_rows)) for row in rows]
        for choice in product(*options):
            pattern = tuple(fret for fret, _ in choice)
            tones = wanted = fifths = sounding = first = last = 0
            turns = 0.0
            only_chord = True
            for row, (fret, pitch) in zip(rows, choice, strict=True):
                if fret == MUTED:
                    continue
                pitch_class = pitch % 12
                if sounding:
                    turns += turn_points(last, pitch)
                else:
                    first = pitch
                last = pitch
                bit = self.bit.get(pitch_class, 0)
                # A bass foreign to the chord may only be the lowest sound.
                only_chord = only_chord and bool(bit or not sounding)
                sounding += 1
                tones |= bit
                wanted |= (pitch_class == self.bass_class) << row
                fifths |= (pitch_class == self.fifth_class) << row
            if only_chord:
                yield _Half(pattern, tones, wanted, fifths, 0 in pattern, sounding, first, last, turns)

    def _options(self, row: int, places: range, *, foreign: bool) -> Iterator[tuple[int, int]]:
        """(pattern's number, MIDI number) of what one string may do."""
        yield MUTED, -1
        for number, fret in ((OPEN, 0), *enumerate(places)):
            pitch = self.open_midi[row] + fret
            if pitch % 12 in self.bit or (foreign and pitch % 12 == self.bass_class):
                yield number, pitch

    def _bass_is_right(self, bass: _Half) -> bool:
        """The bass asked for lies lowest, or its fifth with the root on the next string."""
        low = next((row for row in range(3) if bass.pattern[row] != MUTED), None)
        if low is None:
            return False
        if bass.wanted >> low & 1:
            return True
        return self.fifth_may_lie_lowest and bool(bass.fifths >> low & 1 and bass.wanted >> low + 1 & 1)

    def _held(self, pattern: Pattern, reach: list[float]) -> Hold | None:
        """The cheapest way to hold the pattern in this place, None where there is none."""
        for hold in holds(pattern, self.hand.thumb, self.hand.barres):
            for low, high, share in hold.pairs:
                if reach[high] - reach[low] > share * self.hand.span_mm:
                    break
            else:
                return hold
        return None

    def _picking(self, pattern: Pattern, lowest: int, wanted: int, fifths: int) -> tuple[float, Bass, Parts]:
        """What the shape leaves the picking hand. It depends on which strings sound, with what, and not on frets."""
        sounding = tuple(6 - row for row, fret in enumerate(pattern) if fret != MUTED)
        key = (sounding, wanted, fifths)
        known = self.picking.get(key)
        if known is None:
            bass = bass_of(Shape(_frets(pattern, lowest)), self.chord, self.tuning)
            parts = picking_parts(sounding, bass, fifth_under_root=not wanted >> 6 - sounding[0] & 1)
            known = self.picking[key] = (sum(points for _, points in parts), bass, parts)
        return known


def _frets(pattern: Pattern, lowest: int) -> tuple[int | None, ...]:
    """The frets of a pattern whose lowest fretted string is at `lowest`."""
    return tuple(None if p == MUTED else 0 if p == OPEN else p + lowest for p in pattern)


def usual_first(found: Iterable[Grip], usual: Iterable[Shape]) -> tuple[Grip, ...]:
    """The grips in the order of their cost; where two cost the same, the trade's own shape (in `usual`) comes first."""
    frets = {shape.frets for shape in usual}
    return tuple(sorted(found, key=lambda grip: (round(grip.cost, 2), grip.shape.frets not in frets)))
