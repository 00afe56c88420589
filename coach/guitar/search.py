"""Search for grips: every fingering of a chord within the hand's limits, easiest first, none of it looked up.

What counts as a fingering of a chord (common practice, no source):

- Each string is muted, open or held at a fret up to `max_fret` (counted from the capo). At least four strings sound,
  at least two of strings 3 to 1 among them.
- Only tones of the chord sound; a slash bass that is none of them sounds on the lowest string only.
- The lowest string that sounds has the bass asked for (after the slash, else the root), and no other string sounds
  lower. Where no bass is asked for and the chord has a perfect fifth, that fifth may lie lowest if the next string, 5
  or 4, sounds the root: it is the thumb's second alternate (D x00232, C 332010). It is costed.
- All tones sound, but for the perfect fifth of chords of four or more tones and the ninth of chords of six or more
  (11, 13); `missing` names them. Root, third (or the fourth or second in its place), seventh, an altered fifth and the
  tone that names the chord are never missing.
- A hand can hold it: see `coach.guitar.fingering`. Of several ways to hold one pattern the cheapest counts.

The strings are searched in two halves, 6 to 4 and 3 to 1, for each place of the hand; halves are paired only where
their tones make up the chord.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import lru_cache

from coach.errors import BadShape
from coach.guitar.bass import Bass, bass_of
from coach.guitar.cost import Parts, missing_parts, order_parts, picking_parts, place_parts, turn_points
from coach.guitar.fingering import MUTED, OPEN, WIDEST_BARRE, Fingering, FretPattern, find_fingerings
from coach.guitar.grip import Grip, Hand
from coach.guitar.halves import Half, WantedSounds, find_halves
from coach.guitar.neck import Neck
from coach.guitar.shape import HIGHEST_FRET, Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import FIFTH, QUALITIES, Chord

USUAL_MAX_FRET = 12
LEAST_STRINGS, LEAST_TREBLES = 4, 2
TONE_NAMES = {4: "fifth", 8: "ninth"}


def find_grips(
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
        return _easiest_grips(chord, hand, tuning, capo, max_fret, max(limit, 0))
    return _all_grips(chord, hand, tuning, capo, max_fret)


def best_grip(
    chord: Chord,
    hand: Hand = Hand(),  # noqa: B008
    tuning: Tuning = STANDARD,
    *,
    capo: int = 0,
    max_fret: int = USUAL_MAX_FRET,
) -> Grip:
    """The easiest fingering of `chord`. Raises BadShape where the hand can hold none."""
    easiest = find_grips(chord, hand, tuning, capo=capo, max_fret=max_fret, limit=1)
    if not easiest:
        raise BadShape(
            f"no shape for {chord} is within this hand's reach up to fret {max_fret}",
            mend=f"allow a longer stretch or more frets, or give a shape yourself, like {chord}=x32010",
        )
    return easiest[0]


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
def _all_grips(chord: Chord, hand: Hand, tuning: Tuning, capo: int, max_fret: int) -> tuple[Grip, ...]:
    search = _GripSearch(chord, hand, tuning, Neck(hand.scale_mm, capo), max_fret)
    return tuple(search.grip(fingering) for fingering in search.rank())


@lru_cache(maxsize=4096)
def _easiest_grips(chord: Chord, hand: Hand, tuning: Tuning, capo: int, max_fret: int, limit: int) -> tuple[Grip, ...]:
    search = _GripSearch(chord, hand, tuning, Neck(hand.scale_mm, capo), max_fret)
    return tuple(search.grip(fingering) for fingering in search.rank()[:limit])


def may_miss(interval: tuple[int, int], tones: int) -> bool:
    """Whether a chord of so many tones may go without this one: a perfect fifth from four, a ninth from six on."""
    return (interval == FIFTH and tones >= 4) or (interval[0] == 8 and tones >= 6)


# cost, lowest fret, pattern, how it is held, tones, key of what it leaves the picking hand
_Fingering = tuple[float, int, FretPattern, Fingering, int, int]


class _GripSearch:
    """One search; the chord and the tuning as pitch classes, tones as bits."""

    def __init__(self, chord: Chord, hand: Hand, tuning: Tuning, neck: Neck, max_fret: int) -> None:
        self.chord, self.hand, self.tuning, self.max_fret = chord, hand, tuning, max_fret
        intervals = QUALITIES[chord.quality]
        classes = [(chord.root.pitch_class + semitones) % 12 for _, semitones in intervals]
        bits = {pitch_class: 1 << k for k, pitch_class in enumerate(classes)}
        self.sounds = WantedSounds(bits, chord.lowest.pitch_class, chord.fifth.pitch_class)
        spare = [(k, interval[0]) for k, interval in enumerate(intervals) if may_miss(interval, len(intervals))]
        self.names = {1 << k: TONE_NAMES[steps] for k, steps in spare}
        self.needed = sum(bits.values()) & ~sum(self.names)
        # Only the perfect fifth, and only where no bass is asked for, may lie under the root.
        self.fifth_may_lie_lowest = FIFTH in intervals and self.sounds.bass == chord.root.pitch_class
        self.open_midi = [pitch.midi for pitch in tuning.pitches]
        self.fingers_mm = neck.fingers_mm
        self.picking: dict[int, tuple[float, Bass, Parts]] = {}
        self.absent: dict[int, tuple[float, tuple[str, ...], Parts]] = {}
        self.place: dict[tuple[int, int], tuple[float, float, Parts]] = {}

    def rank(self) -> list[_Fingering]:
        """All fingerings, cheapest first; of equal ones the lower on the neck."""
        rank = list(self._fingerings())
        rank.sort(key=lambda f: (round(f[0], 6), f[1], f[2]))
        return rank

    def grip(self, fingering: _Fingering) -> Grip:
        """The fingering as a Grip."""
        cost, lowest, pattern, hold, tones, key = fingering
        frets = _frets(pattern, lowest)
        _, stretch, place = self._place_cost(lowest, max(pattern))
        _, missing, without = self._missing_cost(tones)
        _, bass, picking = self.picking[key]
        midi = [pitch + fret for pitch, fret in zip(self.open_midi, frets, strict=True) if fret is not None]
        parts = hold.parts + place + picking + order_parts(midi) + without
        barre = (hold.barre[0] + lowest, *hold.barre[1:]) if hold.barre else None
        return Grip(self.chord, Shape(frets, hold.fingers), barre, bass, missing, stretch, round(cost, 6), parts)

    def _fingerings(self) -> Iterator[_Fingering]:
        thumb, barres, span = self.hand.thumb, self.hand.barres, self.hand.span_mm
        for lowest, places in self._hand_places():
            reach = [self.fingers_mm[fret] - self.fingers_mm[lowest] for fret in places]
            for bass, treble in self._pair_halves(lowest, places):
                pattern = bass.pattern + treble.pattern
                for hold in find_fingerings(pattern, thumb, barres):
                    if all(reach[high] - reach[low] <= share * span for low, high, share in hold.pairs):
                        break
                else:
                    continue
                tones = bass.tones | treble.tones
                key = bass.strings | treble.strings | bass.wanted << 6 | bass.fifths << 9
                cost = hold.cost + bass.turns + treble.turns + self._place_cost(lowest, max(pattern))[0]
                if treble.first <= bass.last:
                    cost += turn_points(bass.last, treble.first)
                picking = self.picking.get(key) or self._picking_cost(key, _frets(pattern, lowest))
                yield cost + picking[0] + self._missing_cost(tones)[0], lowest, pattern, hold, tones, key

    def _hand_places(self) -> Iterator[tuple[int, range]]:
        """The places of the hand: the lowest fret held, and the frets within the stretch; 0 and none for no finger."""
        yield 0, range(0)
        for lowest in range(1, self.max_fret + 1):
            most = self.max_fret
            if self.hand.span_frets is not None:
                most = min(most, lowest + self.hand.span_frets - 1)
            furthest = self.fingers_mm[lowest] + self.hand.span_mm
            highest = lowest
            while highest < most and self.fingers_mm[highest + 1] <= furthest:
                highest += 1
            yield lowest, range(lowest, highest + 1)

    def _pair_halves(self, lowest: int, places: range) -> Iterator[tuple[Half, Half]]:
        """Halves that together make a fingering's sound."""
        by_tones: dict[int, list[Half]] = defaultdict(list)
        for treble in find_halves(range(3, 6), self.open_midi, places, self.sounds):
            if treble.sounding >= LEAST_TREBLES:
                by_tones[treble.tones].append(treble)
        for bass in find_halves(range(3), self.open_midi, places, self.sounds):
            if not self._bass_is_right(bass):
                continue
            least = LEAST_STRINGS - bass.sounding
            for tones, trebles in by_tones.items():
                if (tones | bass.tones) & self.needed != self.needed:
                    continue
                for treble in trebles:
                    if treble.sounding < least or treble.least < bass.first:
                        continue
                    if bass.at_lowest or treble.at_lowest or not lowest:
                        yield bass, treble

    def _bass_is_right(self, bass: Half) -> bool:
        """The bass asked for lies lowest, or its fifth with the root on the next string."""
        if bass.least < bass.first:
            return False
        low = bass.strings & -bass.strings
        if bass.wanted & low or not low:
            return bool(low)
        return self.fifth_may_lie_lowest and bool(bass.fifths & low and bass.wanted & low << 1)

    def _picking_cost(self, key: int, frets: tuple[int | None, ...]) -> tuple[float, Bass, Parts]:
        """What the shape leaves the picking hand. It depends on which strings sound, with what, and not on frets."""
        bass = bass_of(Shape(frets), self.chord, self.tuning)
        sounding = tuple(6 - row for row, fret in enumerate(frets) if fret is not None)
        root_lowest = key >> 6 & 1 << 6 - sounding[0]
        parts = picking_parts(sounding, bass, fifth_under_root=not root_lowest)
        self.picking[key] = sum(points for _, points in parts), bass, parts
        return self.picking[key]

    def _missing_cost(self, tones: int) -> tuple[float, tuple[str, ...], Parts]:
        """What it costs that only these tones sound, and the names of the others."""
        if tones not in self.absent:
            names = tuple(name for bit, name in self.names.items() if not tones & bit)
            parts = missing_parts(names)
            self.absent[tones] = sum(points for _, points in parts), names, parts
        return self.absent[tones]

    def _place_cost(self, lowest: int, above: int) -> tuple[float, float, Parts]:
        """What the place on the neck costs, and the stretch from its lowest fret to the one `above` it."""
        above = max(above, 0)
        if (lowest, above) not in self.place:
            stretch = self.fingers_mm[lowest + above] - self.fingers_mm[lowest]
            parts = place_parts(stretch, self.hand.span_mm, lowest)
            self.place[lowest, above] = sum(points for _, points in parts), stretch, parts
        return self.place[lowest, above]


def _frets(pattern: FretPattern, lowest: int) -> tuple[int | None, ...]:
    """The frets of a pattern whose lowest fretted string is at `lowest`."""
    return tuple(None if p == MUTED else 0 if p == OPEN else p + lowest for p in pattern)


def usual_first(find_grips: Iterable[Grip], usual: Iterable[Shape]) -> tuple[Grip, ...]:
    """The grips in the order of their cost; where two cost the same, the trade's own shape (in `usual`) comes first."""
    frets = {shape.frets for shape in usual}
    return tuple(sorted(find_grips, key=lambda grip: (round(grip.cost, 2), grip.shape.frets not in frets)))
