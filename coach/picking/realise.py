"""A pattern (picking hand) meets shapes (fretting hand) and becomes plucks.

The pattern's bars are taken in turn, one for each bar of the progression. A thumb role goes to the
string the shape gives it; a string that the shape mutes, or that another finger takes at that instant,
falls to the nearest one that sounds for the same hand, and the pluck says so in `why`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.guitar.bass import THUMB_STRINGS, Bass, bass_of
from coach.guitar.openshapes import ShapeBook
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord
from coach.music.meter import Meter
from coach.picking.pattern import Aim, Pattern, PatternBar
from coach.picking.plucks import Pluck, swung

FINGER_STRINGS = (3, 2, 1)


@dataclass(frozen=True)
class Hold:
    """From `beat` of the bar on the fretting hand holds `shape` for `chord`; shape and bass are None for no chord."""

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
) -> tuple[HeldBar, ...]:
    """Give each chord its shape: a pinned one, or the book's first. Chords of a bar share it equally.

    Raises BadShape when a chord has no known shape.
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
                shape = pins.get(str(chord)) or book.shapes(chord, tuning)[0]
                holds.append(Hold(beat, chord, shape, bass_of(shape, chord, tuning)))
        held.append(HeldBar(tuple(holds)))
    return tuple(held)


def realise(
    pattern: Pattern, bars: Sequence[HeldBar], *, loops: int = 1, tuning: Tuning = STANDARD, capo: int = 0
) -> tuple[Pluck, ...]:
    """Every pluck of the pattern over `bars`, `loops` times round, in order of bar, beat and string (lowest first)."""
    plucks: list[Pluck] = []
    for number in range(len(bars) * loops):
        held = bars[number % len(bars)]
        written = pattern.bars[number % len(pattern.bars)]
        plucks += _bar(pattern, written, held, number, tuning, capo)
    return tuple(plucks)


def _bar(pattern: Pattern, written: PatternBar, held: HeldBar, number: int, tuning: Tuning, capo: int) -> list[Pluck]:
    plucks: list[Pluck] = []
    slots = sorted({aim.slot for aim in written.aims})
    for slot in slots:
        beat = pattern.meter.slot_beat(slot, pattern.slots)
        hold = held.at(beat)
        if hold.shape is None or hold.bass is None:
            continue
        chord_changes_here = hold.beat == beat and beat > 0
        aims = [aim for aim in written.aims if aim.slot == slot]
        placed = _place(aims, hold.shape, hold.bass, root_first=chord_changes_here)
        for aim, string, fret, why in placed:
            midi = tuning.open_midi(string) + capo + fret
            role = hold.bass.role(string) if aim.finger == "p" else "-"
            where = swung(beat, pattern.share)
            plucks.append(Pluck(number, beat, where, string, fret, midi, aim.finger, role, aim.stress, why))
    plucks.sort(key=lambda p: (p.beat, -p.string))
    return plucks


def _place(aims: Sequence[Aim], shape: Shape, bass: Bass, *, root_first: bool) -> list[tuple[Aim, int, int, str]]:
    """(aim, string, fret, why) for one instant: the thumb first, then fingers whose string sounds, then those that move."""
    wanted = [(aim, *_wanted(aim, bass, root_first)) for aim in aims]
    # The thumb has the first word; then a finger that can have its own string keeps it.
    wanted.sort(key=lambda w: (w[0].finger != "p", w[0].fret is None and shape.fret(w[1]) is None))
    placed: list[tuple[Aim, int, int, str]] = []
    taken: set[int] = set()
    for aim, string, why in wanted:
        fret = aim.fret if aim.fret is not None else shape.fret(string)
        if fret is None or string in taken:
            mine = (THUMB_STRINGS, FINGER_STRINGS)[aim.finger != "p"]
            free = [s for s in shape.sounding if s not in taken]
            own = [s for s in free if s in mine] or (free if aim.finger == "p" else [])
            if not own:
                continue
            reason = f"string {string} is muted" if fret is None else f"string {string} is taken by another finger"
            string = min(own, key=lambda s: (abs(s - string), s))
            why = f"{reason}, so {string} is plucked"
            fret = shape.fret(string) or 0
        taken.add(string)
        placed.append((aim, string, fret, why))
    return placed


def _wanted(aim: Aim, bass: Bass, root_first: bool) -> tuple[int, str]:
    """The string an aim asks for. On a chord change inside the bar the thumb tells the new root first."""
    if not aim.role:
        return aim.string, ""
    if root_first and aim.role != "r":
        return bass.r, "the chord changes here, so the thumb plays its root"
    return bass.string(aim.role), ""
