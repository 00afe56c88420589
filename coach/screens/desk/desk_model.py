"""What the desk knows about a progression, as values: key, numerals, shapes to choose from, the route through them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.errors import BadInput
from coach.guitar.grip import Grip, Hand
from coach.guitar.key_finder import KeyChoice, find_keys
from coach.guitar.route import Route, find_route
from coach.guitar.search import find_grips
from coach.guitar.shape import Shape
from coach.guitar.standins import StandIn, find_standins
from coach.music.chords import Chord, read_bars
from coach.music.keys import Key
from coach.music.likely_key import likely_key
from coach.music.meter import Meter
from coach.music.notes import Pitch, read_range
from coach.music.numerals import numerals
from coach.picking.realise import HeldBar, Hold

Bars = tuple[tuple[Chord | None, ...], ...]
Range = tuple[Pitch, Pitch]
MOST_CHORDS = 64


@dataclass(frozen=True)
class Wish:
    """What the player typed: the key ("" to have it guessed) and the ranges of melody and voice."""

    key: str = ""
    melody: Range | None = None
    voice: Range | None = None


@dataclass(frozen=True)
class Desk:
    """A progression under the lamp.

    at       which chord is looked at, from 0 over all chords
    pins     shapes the player chose, by chord position
    options  for the chord looked at: every grip, easiest first
    """

    bars: Bars
    key: Key
    guessed: bool
    wish: Wish
    numerals: tuple[str, ...]
    places: tuple[KeyChoice, ...]
    route: Route
    hand: Hand
    pins: Mapping[int | str, Shape]
    at: int = 0
    capo: int = 0
    minimax: bool = False

    @property
    def chords(self) -> tuple[Chord | None, ...]:
        """All chords in order."""
        return tuple(chord for bar in self.bars for chord in bar)

    @property
    def text(self) -> str:
        """The progression as it is typed."""
        return " | ".join(" ".join(str(c) if c else "N" for c in bar) for bar in self.bars)

    @property
    def options(self) -> tuple[Grip, ...]:
        """The grips of the chord looked at, easiest first."""
        chord = self.chords[self.at]
        return () if chord is None else find_grips(chord, self.hand, capo=self.capo)

    @property
    def option(self) -> int:
        """Which of `options` is on the route now; -1 when a pinned one is none of them."""
        grip = self.route.grips[self.at]
        shapes = [str(g.shape) for g in self.options]
        return shapes.index(str(grip.shape)) if grip and str(grip.shape) in shapes else -1

    def standins(self) -> tuple[StandIn, ...]:
        """Easier things for the chord looked at."""
        chord = self.chords[self.at]
        if chord is None:
            return ()
        before = self.route.grips[self.at - 1] if self.at else None
        return find_standins(
            chord, self.hand, capo=self.capo, instead_of=self.route.grips[self.at], before=before, scale=self.key.scale
        )

    def held(self, meter: Meter, *, only: bool = False) -> tuple[HeldBar, ...]:
        """The route as bars of holds for a pattern in `meter`; `only` the chord looked at, one bar of it."""
        if only:
            return (HeldBar((self._hold(self.at, Fraction(0)),)),)
        bars, position = [], 0
        for bar in self.bars:
            holds = []
            for k in range(len(bar)):
                holds.append(self._hold(position, Fraction(k * meter.beats, len(bar))))
                position += 1
            bars.append(HeldBar(tuple(holds)))
        return tuple(bars)

    def _hold(self, position: int, beat: Fraction) -> Hold:
        grip = self.route.grips[position]
        if grip is None:
            return Hold(beat, None, None, None)
        return Hold(beat, self.chords[position], grip.shape, grip.bass)


def read_wish(text: str) -> Wish:
    """Read `G`, `G voice A2-D4`, `melody C4-A4 voice A2-D4`. Raises BadInput or BadMusic."""
    wish = Wish()
    words = text.split()
    while words:
        word = words.pop(0)
        if word in ("voice", "melody"):
            if not words:
                raise BadInput(f"'{word}' wants a range after it", mend=f"write {word} A2-D4")
            reach = read_range(words.pop(0))
            wish = replace(wish, voice=reach) if word == "voice" else replace(wish, melody=reach)
        else:
            wish = replace(wish, key=str(Key.parse(f"{word} {words.pop(0)}" if words[:1] in _MODES else word)))
    if (wish.voice is None) != (wish.melody is None):
        raise BadInput("a voice needs the melody's range, and a melody the voice's", mend="give both, or neither")
    return wish


_MODES = (["minor"], ["major"])


def consider(text: str, wish_text: str, hand: Hand) -> Desk:
    """Think a typed progression through. Raises BadInput (also BadMusic, BadShape) in one sentence."""
    bars = read_bars(text)
    chords = [chord for bar in bars for chord in bar]
    if len(chords) > MOST_CHORDS:
        raise BadInput(f"{len(chords)} chords are more than fit on the desk", mend=f"take {MOST_CHORDS} at a time")
    if not any(chords):
        raise BadInput("there is no chord in it", mend='write chords, like "C | Am | F | G"')
    wish = read_wish(wish_text)
    key = Key.parse(wish.key) if wish.key else likely_key(chords)
    places = find_keys(bars, key, hand, melody=wish.melody, voice=wish.voice, fixed=wish.voice is None)
    way = find_route(chords, hand, loop=True)
    return Desk(bars, key, not wish.key, wish, numerals(chords, key), places, way, hand, {})


def looked_at(desk: Desk, at: int) -> Desk:
    """The same desk with another chord looked at (round the ends)."""
    return replace(desk, at=at % len(desk.chords))


def with_pin(desk: Desk, shape: Shape | None) -> Desk:
    """The chord looked at held this way (None: as the route likes), and the rest fitted to it."""
    pins = {at: pin for at, pin in desk.pins.items() if at != desk.at}
    if shape is not None:
        pins[desk.at] = shape
    return _rerouted(desk, pins=pins)


def with_minimax(desk: Desk, on: bool) -> Desk:
    """The route with the hardest change made as easy as can be, or with the least sum."""
    return _rerouted(desk, minimax=on)


def with_chord(desk: Desk, chord: Chord, shape: Shape) -> Desk:
    """Another chord (a stand-in) in the place of the one looked at, held this way."""
    position, bars = 0, []
    for bar in desk.bars:
        bars.append(tuple(chord if position + k == desk.at else c for k, c in enumerate(bar)))
        position += len(bar)
    changed = replace(desk, bars=tuple(bars))
    changed = replace(changed, numerals=numerals(changed.chords, desk.key))
    return with_pin(changed, shape)


def moved(desk: Desk, place: KeyChoice) -> Desk:
    """The progression in another shape key, with its capo; pins belonged to the old shapes and fall."""
    there = replace(desk, bars=place.bars, key=place.shape_key, guessed=False, capo=place.capo, pins={})
    return _rerouted(replace(there, numerals=numerals(there.chords, place.shape_key)))


def _rerouted(desk: Desk, *, pins: Mapping[int | str, Shape] | None = None, minimax: bool | None = None) -> Desk:
    use = desk.pins if pins is None else pins
    hardest = desk.minimax if minimax is None else minimax
    way = find_route(desk.chords, desk.hand, capo=desk.capo, pins=use, minimax=hardest, loop=True)
    return replace(desk, route=way, pins=use, minimax=hardest)
