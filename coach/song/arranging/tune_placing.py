"""Putting the tune on the top strings: which shape can carry it, where each note lies, and the lanes that pluck it.

A note of the tune goes to string 3, 2 or 1, at the fret the shape has there or where a finger reaches it while the
others stay down (`coach.guitar.standins.hold_like`). For each chord of a bar the grips are tried, easiest first; where
none can carry every note a bare one serves that holds the bass alone and leaves the other fingers to the tune. The
row of grips is then the cheapest way through the part. Where there is no chord (often in a pick-up) no strings are held
down but the tune's own, and it sounds alone.

The thumb keeps the beat below it: on a string that the tune is not ringing on. Between the notes of the tune one
finger fills the tier's grid on strings below the tune, where one is free. On the beat a tune note is a pinch, off it a
single pluck, and each is accented, so that the layer `tune` keeps it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from coach.errors import BadShape
from coach.guitar.bass import THUMB_STRINGS, bass_of
from coach.guitar.choices import add_fingers
from coach.guitar.grip import Grip, Hand
from coach.guitar.moves import Moves
from coach.guitar.route import best_route
from coach.guitar.search import find_grips
from coach.guitar.shape import Shape
from coach.guitar.standins import hold_like
from coach.guitar.tuning import STRINGS, Tuning
from coach.music.chords import Chord
from coach.music.meter import Meter
from coach.picking.pattern import LANES, MOST_SLOTS
from coach.song.arrangement import NO_CHORD, PLAIN, BarWay
from coach.song.arranging.tiers import STRING_OF, grid_for, per_beat

TUNE_STRINGS = (3, 2, 1)
HIGHEST_FRET = 12
TRIED = 60  # grips of a chord, easiest first
CANDIDATES = 8
HURRIED = Fraction(1, 2)  # quarter notes: no finger plucks twice within less, if another is free

# What a note costs beside the grip, in its unit: a finger that must come to it, a fret of way, and a place up the neck.
_REACHED, _WAY, _UP = 0.5, 0.15, 0.05
_BARE, _TURNED = 8.0, 14.0
# What is held where there is no chord: nothing, all strings free for the tune.
OPEN = Shape((0,) * 6)
_FINGER_OF = {string: finger for finger, string in STRING_OF.items()}


@dataclass(frozen=True)
class SungNote:
    """A note of the tune as the hand plays it: `midi` without the capo; a tied one rings on and is not plucked."""

    beat: Fraction
    length: Fraction
    midi: int
    tied: bool = False


@dataclass(frozen=True)
class TuneBar:
    """One bar to place: beats from its own beginning.

    offset  how much of the meter's bar lies before it, for a pick-up
    chords  (beat, chord) as in a chart, in the hand's key
    """

    meter: Meter
    beats: Fraction
    offset: Fraction
    chords: tuple[tuple[Fraction, Chord | None], ...]
    notes: tuple[SungNote, ...]


@dataclass(frozen=True)
class Placing:
    """A part's tune placed.

    ways    bar -> how it is played, for bars with a tune
    asked   notes to pluck
    missed  (bar, beat) of those that the hand cannot reach
    cost    what grips and reaches come to
    """

    ways: Mapping[int, BarWay]
    asked: int
    missed: tuple[tuple[int, Fraction], ...] = ()
    cost: float = 0.0

    @property
    def placed(self) -> int:
        """Notes that lie on the strings."""
        return self.asked - len(self.missed)


@dataclass(frozen=True)
class NotePlace:
    """Where a note lies; `own` where the shape has it already."""

    string: int
    fret: int
    own: bool
    cost: float


def place_tune(
    bars: Sequence[TuneBar], hand: Hand, tuning: Tuning, capo: int, tier: str, usual: Mapping[str, Grip]
) -> Placing:
    """Place the tune of a part's bars; `usual` are the grips its chords have elsewhere, which come first."""
    placer = _Placer(hand, tuning, capo, tier, usual)
    rows: list[tuple[Grip | None, ...]] = []
    keys: list[tuple[int, Chord]] = []
    for number, bar in enumerate(bars):
        for chord, midis in _by_chord(bar):
            rows.append(placer.find_candidates(chord, midis))
            keys.append((number, chord))
    held: dict[tuple[int, Chord], Grip] = {}
    cost = 0.0
    if rows:
        route = best_route(rows, Moves(hand, tuning, capo))
        cost = route.cost
        for key, grip in zip(keys, route.grips, strict=True):
            if grip is not None:
                held[key] = grip
    ways: dict[int, BarWay] = {}
    missed: list[tuple[int, Fraction]] = []
    asked = ringing = 0
    for number, bar in enumerate(bars):
        plucked = [n for n in bar.notes if not n.tied]
        asked += len(plucked)
        if not plucked:
            continue
        mine = {chord: grip for (k, chord), grip in held.items() if k == number}
        way, lost, ringing = placer.bar(bar, mine, ringing)
        missed += [(number, beat) for beat in lost]
        if way is not None:
            ways[number] = way
    return Placing(ways, asked, tuple(missed), cost)


def _segments(bar: TuneBar) -> Iterator[tuple[Fraction, Fraction, Chord | None]]:
    ends = [*(beat for beat, _ in bar.chords[1:]), bar.beats]
    for (beat, chord), end in zip(bar.chords, ends, strict=True):
        yield beat, end, chord


def _chord_at(bar: TuneBar, beat: Fraction) -> Chord | None:
    return next(chord for start, chord in reversed(bar.chords) if start <= beat)


def _by_chord(bar: TuneBar) -> Iterator[tuple[Chord, tuple[int, ...]]]:
    """Each chord of the bar with the notes plucked over it; a chord that comes twice has one shape for both."""
    midis_by_chord: dict[Chord, set[int]] = {}
    for start, end, chord in _segments(bar):
        if chord is not None:
            plucked = (n.midi for n in bar.notes if start <= n.beat < end and not n.tied)
            midis_by_chord.setdefault(chord, set()).update(plucked)
    for chord, midis in midis_by_chord.items():
        yield chord, tuple(sorted(midis))


class _Placer:
    """One hand, tuning, capo and tier."""

    def __init__(self, hand: Hand, tuning: Tuning, capo: int, tier: str, usual: Mapping[str, Grip]) -> None:
        self.hand, self.tuning, self.capo, self.tier, self.usual = hand, tuning, capo, tier, usual
        self.known: dict[tuple[Chord, tuple[int, ...]], tuple[Grip | None, ...]] = {}

    def find_candidates(self, chord: Chord, midis: tuple[int, ...]) -> tuple[Grip | None, ...]:
        """The grips that carry most of these notes, cheapest first, the cost of reaching them counted in."""
        asked = (chord, midis)
        if asked not in self.known:
            own = self.usual.get(str(chord))
            rows = [self.price_grip(g, midis) for g in self.find_grips_for(chord, own)]
            if not rows or min(lost for lost, _ in rows):
                rows += [self.price_grip(g, midis) for g in bare_grips(chord, self.tuning)]
            fewest = min((lost for lost, _ in rows), default=0)
            best = sorted((g for lost, g in rows if lost == fewest), key=lambda g: g.cost)
            self.known[asked] = tuple(best[:CANDIDATES]) or (None,)
        return self.known[asked]

    def find_grips_for(self, chord: Chord, own: Grip | None) -> list[Grip]:
        """The usual grip and the easiest others whose bass leaves strings 3 to 1 to the tune."""
        most = min(HIGHEST_FRET, 24 - self.capo)
        grips = list(find_grips(chord, self.hand, self.tuning, capo=self.capo, max_fret=most, limit=TRIED))
        if own is not None:
            # It is the one the player has in hand anyway.
            grips = [replace(own, chord=chord, cost=own.cost - _REACHED), *(g for g in grips if g.shape != own.shape)]
        return [g for g in grips if g.bass.r in THUMB_STRINGS and can_be_saved(g.shape)]

    def price_grip(self, grip: Grip, midis: Iterable[int]) -> tuple[int, Grip]:
        """(notes it cannot carry, the grip with what the notes cost added to its own)."""
        lost, cost = 0, 0.0
        for midi in midis:
            place = find_place(grip.shape, midi, self.hand, self.tuning, self.capo)
            lost += place is None
            cost += place.cost if place else 0.0
        return lost, replace(grip, cost=grip.cost + cost)

    def bar(
        self, bar: TuneBar, held: Mapping[Chord, Grip], string: int
    ) -> tuple[BarWay | None, list[Fraction], int]:
        """The bar's way, the beats of the notes that could not be placed, and the string of the last note that was.

        `string` is that of the last note before, on which a tied note rings on.
        """
        onsets = [n.beat + bar.offset for n in bar.notes if not n.tied]
        changes = [beat + bar.offset for beat, _ in bar.chords]
        tier = self.tier
        slots = grid_for(bar.meter, tier, (*onsets, *changes))
        if slots > MOST_SLOTS:
            tier = PLAIN
            slots = grid_for(bar.meter, tier, (*onsets, *changes))
        if slots > MOST_SLOTS:
            return None, [n.beat for n in bar.notes if not n.tied], 0
        lanes = _Lanes(bar, slots)
        lost = []
        alone = False
        for n in bar.notes:
            if n.tied:
                lanes.add_ringing(string, n.beat, n.beat + n.length)
                continue
            chord = _chord_at(bar, n.beat)
            shape = OPEN if chord is None else held[chord].shape if chord in held else None
            place = None if shape is None else find_place(shape, n.midi, self.hand, self.tuning, self.capo)
            if place is None:
                lost.append(n.beat)
                continue
            alone = alone or chord is None
            lanes.add_tune_note(n, place)
            string = place.string
        lanes.add_thumb(held)
        lanes.fill_grid(held, per_beat(bar.meter, tier))
        shapes = {str(chord): grip.shape for chord, grip in held.items()}
        if alone:
            shapes[NO_CHORD] = OPEN
        count = lanes.tunes
        why = f"the tune's {count} note{'s' if count != 1 else ''} on the top strings"
        if lost:
            why += f"; {len(lost)} out of reach"
        return BarWay(lanes=lanes.write_lanes(), slots=slots, shapes=shapes, why=why), lost, string


class _Lanes:
    """The lanes of one bar as they grow: slots counted over the meter's whole bar."""

    def __init__(self, bar: TuneBar, slots: int) -> None:
        self.bar, self.slots = bar, slots
        self.per = Fraction(slots, bar.meter.beats)
        self.cells: dict[tuple[int, str], str] = {}
        self.strings: dict[int, set[int]] = {}
        self.rings: list[tuple[int, Fraction, Fraction]] = []
        self.tunes = 0

    def slot(self, beat: Fraction) -> int:
        return int((beat + self.bar.offset) * self.per)

    def put(self, slot: int, finger: str, string: int, token: str) -> None:
        self.cells[slot, finger] = token
        self.strings.setdefault(slot, set()).add(string)

    def add_ringing(self, string: int, start: Fraction, end: Fraction) -> None:
        """The string sounds a note of the tune from beat `start` to `end`."""
        if string:
            self.rings.append((string, start, end))

    def ringing_strings(self, beat: Fraction) -> set[int]:
        """The strings on which the tune sounds at `beat`."""
        return {string for string, start, end in self.rings if start <= beat < end}

    def is_hurried(self, slot: int, finger: str) -> bool:
        """Whether the finger plucks within two sixteenths of the slot."""
        near = HURRIED / self.bar.meter.quarters_per_beat * self.per
        return any(f == finger and abs(other - slot) < near for other, f in self.cells)

    def add_tune_note(self, n: SungNote, place: NotePlace) -> None:
        """A note of the tune, with its string's own finger or the nearest that is not hurried."""
        slot = self.slot(n.beat)
        own = _FINGER_OF[place.string]
        fingers = sorted("ima", key=lambda f: (self.is_hurried(slot, f), abs(STRING_OF[f] - place.string), f != own))
        token = f"{place.string}!" if place.own else f"{place.string}@{place.fret}!"
        self.put(slot, fingers[0], place.string, token)
        self.tunes += 1
        self.add_ringing(place.string, n.beat, n.beat + n.length)

    def add_thumb(self, held: Mapping[Chord, Grip]) -> None:
        """The bass on each beat and each change of chord: root first, then alternating, never on the tune's string."""
        for start, end, chord in _segments(self.bar):
            grip = held.get(chord) if chord is not None else None
            if grip is None:
                continue
            for count, beat in enumerate(self.thumb_beats(start, end)):
                role = "rafa"[count % 4]
                # A string that the tune has, or that another finger plucks now, is not the thumb's.
                busy = self.ringing_strings(beat) | self.strings.get(self.slot(beat), set())
                if grip.bass.string(role) in busy:
                    role = "r"
                self.put(self.slot(beat), "p", grip.bass.string(role), role)

    def thumb_beats(self, start: Fraction, end: Fraction) -> list[Fraction]:
        """The beats of the thumb from `start` to before `end`: the first moment and every whole beat of the meter."""
        first = start + self.bar.offset
        whole = [Fraction(b) for b in range(self.bar.meter.beats) if first < b < end + self.bar.offset]
        return [start, *(b - self.bar.offset for b in whole)]

    def fill_grid(self, held: Mapping[Chord, Grip], tier_slots: int) -> None:
        """One finger on each empty slot of the tier's grid, on a string below the tune."""
        step = Fraction(1, tier_slots)
        turn = 0
        beat = -(self.bar.offset % step)
        while (beat := beat + step) < self.bar.beats:
            slot = self.slot(beat)
            if beat < 0 or slot in self.strings or self.is_near_tune(slot):
                continue
            chord = _chord_at(self.bar, beat)
            grip = held.get(chord) if chord is not None else None
            if grip is None:
                continue
            tune = self.ringing_strings(beat)
            top = max(tune, default=0)
            free = [s for s in TUNE_STRINGS if s > top and grip.shape.fret(s) is not None and s not in tune]
            fingers = [(s, _FINGER_OF[s]) for s in free if not self.is_hurried(slot, _FINGER_OF[s])]
            if fingers:
                string, finger = fingers[turn % len(fingers)]
                self.put(slot, finger, string, str(string))
                turn += 1

    def is_near_tune(self, slot: int) -> bool:
        """Whether a note of the tune stands so near that a filling note would crowd it."""
        near = Fraction(1, 8) / self.bar.meter.quarters_per_beat * self.per
        return any("!" in token and 0 < abs(other - slot) < near for (other, _), token in self.cells.items())

    def write_lanes(self) -> tuple[tuple[str, str], ...]:
        rows = []
        for finger in LANES:
            tokens = [self.cells.get((slot, finger), ".") for slot in range(self.slots)]
            if any(token != "." for token in tokens):
                rows.append((finger, " ".join(tokens)))
        return tuple(rows)


@lru_cache(maxsize=20_000)
def can_be_saved(shape: Shape) -> bool:
    """Whether a song file can hold the shape: its fingers are told from the frets when it is read."""
    try:
        add_fingers(Shape(shape.frets))
    except BadShape:
        return False
    return True


@lru_cache(maxsize=200_000)
def _held_at(shape: Shape, string: int, fret: int, hand: Hand, capo: int) -> bool:
    """Whether the hand can put the string to this fret while the rest of the shape stays down."""
    frets = tuple(fret if 6 - k == string else f for k, f in enumerate(shape.frets))
    return hold_like(frets, shape, string, hand, capo) is not None


def find_place(shape: Shape, midi: int, hand: Hand, tuning: Tuning, capo: int) -> NotePlace | None:
    """Where on strings 3 to 1 this hand can sound `midi` (without the capo) while it holds the shape; None: nowhere."""
    down = [f for f in shape.frets if f]
    home = min(down, default=0)
    best: NotePlace | None = None
    for string in TUNE_STRINGS:
        fret = midi - tuning.open_midi(string)
        if not 0 <= fret <= HIGHEST_FRET or fret + capo > 24:
            continue
        if shape.fret(string) == fret:
            place = NotePlace(string, fret, True, 0.0)
        elif down and fret and abs(fret - home) > 8:
            continue
        elif _held_at(shape, string, fret, hand, capo):
            way = abs(fret - home) * _WAY if fret and down else 0.0
            place = NotePlace(string, fret, False, _REACHED + way + _UP * fret)
        else:
            continue
        if best is None or place.cost < best.cost:
            best = place
    return best


def bare_grips(chord: Chord, tuning: Tuning) -> list[Grip]:
    """Grips that hold the bass alone, with the open strings that belong to the chord; the other fingers are free.

    Where no string has the root within reach of the tune, an open bass string with another tone of the chord serves.
    """
    tones = {n.pitch_class for n in chord.tones}
    grips = []
    for string in THUMB_STRINGS:
        for fret in range(10):
            pitch_class = (tuning.open_midi(string) + fret) % 12
            if pitch_class == chord.lowest.pitch_class:
                grips.append(_bare_grip(chord, tuning, tones, string, fret, _BARE + 0.2 * fret))
            elif fret == 0 and pitch_class in tones:
                grips.append(_bare_grip(chord, tuning, tones, string, 0, _TURNED))
    return grips


def _bare_grip(chord: Chord, tuning: Tuning, tones: set[int], bass: int, fret: int, cost: float) -> Grip:
    frets: list[int | None] = []
    for string in STRINGS:
        is_open = string < bass and tuning.open_midi(string) % 12 in tones
        frets.append(fret if string == bass else 0 if is_open else None)
    finger = "1" if fret else "."
    shape = Shape(tuple(frets), "".join(finger if s == bass else "." for s in STRINGS))
    return Grip(chord, shape, None, bass_of(shape, chord, tuning), (), 0.0, cost, (("the bass alone", cost),))
