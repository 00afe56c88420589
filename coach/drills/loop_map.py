"""What stands where in a drill's loop: for each beat its chord, the change that falls on it and the fingers that pluck.

A stumble is marked by hand, a moment after it happens; a beat is about as fine as that can be told, so places are
whole beats. Bars are those of one round: as many as it takes until chords and pattern begin together again. The stage
may play several rounds in a pass; the same bar of each round is one place.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from coach.log.takes import Stumble
from coach.music.chords import read_bars
from coach.picking.pattern import Pattern, PatternBar
from coach.picking.plucks import FINGER_WORDS
from coach.song.piece import PieceBar

Place = tuple[int, int]
"""Bar and beat, both from 0."""


@dataclass(frozen=True)
class Beat:
    """One beat of the loop.

    chord    what is held when it begins, `N` for none
    change   `C to F` when another chord comes on it, else ""
    fingers  those that pluck in it, in the order p i m a
    pinch    thumb and a finger together in it
    """

    bar: int
    beat: int
    chord: str
    change: str = ""
    fingers: str = ""
    pinch: bool = False

    @property
    def place(self) -> Place:
        """Bar and beat, both from 0."""
        return self.bar, self.beat


@dataclass(frozen=True)
class LoopMap:
    """`bars` bars of at most `beats` beats each, every beat there is in order; a pick-up bar has fewer."""

    bars: int
    beats: int
    places: tuple[Beat, ...]

    def at(self, place: Place) -> Beat:
        """The beat at a place. Raises KeyError where a short bar has none."""
        return self._by_place[place]

    @cached_property
    def _by_place(self) -> dict[Place, Beat]:
        return {beat.place: beat for beat in self.places}

    def chords(self, bar: int) -> tuple[str, ...]:
        """The chords of a bar in order, each once where it goes on."""
        names: list[str] = []
        for beat in (p for p in self.places if p.bar == bar):
            if not names or beat.change or beat.chord != names[-1]:
                names.append(beat.chord)
        return tuple(names)

    def folded(self, bar: int, beat: str) -> Place | None:
        """The place of a stumble's bar and beat as the ledger has them; None for a beat that no bar of this has."""
        place = (bar % self.bars, math.floor(Fraction(beat)))
        return place if place in self._by_place else None

    def counts(self, stumbles: Iterable[Stumble]) -> Counter[Place]:
        """Stumbles by place; several on one beat in one pass count once, for they are one slip and its echo."""
        seen = {(s.take, s.pass_no, self.folded(s.bar, s.beat)) for s in stumbles}
        return Counter(place for _, _, place in seen if place is not None)


def map_pattern(pattern: Pattern, chords: str) -> LoopMap:
    """The map of a pattern on a progression (`"C | F G | C"`). Raises BadMusic for chords that cannot be read."""
    written = read_bars(chords)
    beats = pattern.meter.beats
    bars = math.lcm(len(written), len(pattern.bars))
    before = _name(written[-1][-1])
    places: list[Beat] = []
    for bar in range(bars):
        names = [_name(chord) for chord in written[bar % len(written)]]
        starts = [Fraction(k * beats, len(names)) for k in range(len(names))]
        fingers = _fingers(pattern, pattern.bars[bar % len(pattern.bars)])
        for beat in range(beats):
            change = ""
            for name, start in zip(names, starts, strict=True):
                if beat <= start < beat + 1 and name != before:
                    change, before = f"{before} to {name}", name
            held = [name for name, start in zip(names, starts, strict=True) if start <= beat]
            plucked, pinch = fingers[beat]
            places.append(Beat(bar, beat, held[-1], change, plucked, pinch))
    return LoopMap(bars, beats, tuple(places))


def map_piece(bars: Sequence[PieceBar]) -> LoopMap:
    """The map of bars of a piece as they are played round and round: a part, a change, a whole song."""
    places: list[Beat] = []
    before = _name(bars[-1].held.holds[-1].chord)
    for number, bar in enumerate(bars):
        for beat in range(math.ceil(bar.beats)):
            change = ""
            for hold in bar.held.holds:
                if beat <= hold.beat < beat + 1 and _name(hold.chord) != before:
                    change, before = f"{before} to {_name(hold.chord)}", _name(hold.chord)
            own = [pluck for pluck in bar.plucks if beat <= pluck.beat < beat + 1]
            used = {pluck.finger for pluck in own}
            thumbs = {pluck.beat for pluck in own if pluck.finger == "p"}
            pinch = any(pluck.beat in thumbs for pluck in own if pluck.finger != "p")
            held = _name(bar.held.at(Fraction(beat)).chord)
            places.append(Beat(number, beat, held, change, "".join(f for f in FINGER_WORDS if f in used), pinch))
    return LoopMap(len(bars), max(math.ceil(bar.beats) for bar in bars), tuple(places))


def _name(chord: object) -> str:
    return "N" if chord is None else str(chord)


def _fingers(pattern: Pattern, bar: PatternBar) -> list[tuple[str, bool]]:
    """For each beat of a written bar the fingers that pluck in it, and whether there is a pinch."""
    by_beat: list[tuple[set[str], set[int]]] = [(set(), set()) for _ in range(pattern.meter.beats)]
    by_slot: dict[int, set[str]] = {}
    for aim in bar.aims:
        by_slot.setdefault(aim.slot, set()).add(aim.finger)
    for slot, used in by_slot.items():
        fingers, pinches = by_beat[math.floor(pattern.meter.slot_beat(slot, pattern.slots))]
        fingers |= used
        if "p" in used and len(used) > 1:
            pinches.add(slot)
    return [("".join(f for f in FINGER_WORDS if f in fingers), bool(pinches)) for fingers, pinches in by_beat]
