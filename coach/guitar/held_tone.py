"""Held tones: one finger that stays down on a top string while the chords change under it.

For every place of a finger on strings 3 to 1 each chord gets the cheapest grip that has this finger there: one of the
chord itself, or of a chord with the held tone added to it (its sixth, seventh, ninth, or a fourth or second in the
place of the third). What the tone adds to each chord is said. (Common practice, no source: a song in G with D on
string 2 and G on string 1 held throughout.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coach.guitar.grip import Grip, Hand
from coach.guitar.moves import touches
from coach.guitar.search import USUAL_MAX_FRET, find_grips
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord
from coach.music.notes import Note

TOP_STRINGS = (1, 2, 3)
HIGHEST_HELD, HIGHEST_FRET = 5, 7
COLOURED = 1.5  # what it costs that a chord is not quite the one that was asked for

# What a chord may become to take a tone in; the rest of it stays.
_WITH = {
    "": ("", "sus4", "sus2", "add9", "6", "maj7", "7"),
    "m": ("m", "m7", "madd9", "sus4", "sus2"),
    "7": ("7", "9", "7sus4"),
    "maj7": ("maj7", "maj9"),
    "m7": ("m7", "m9", "7sus4"),
}


@dataclass(frozen=True)
class HeldTone:
    """A finger that stays down through all the chords.

    note    what it sounds, as the first chord that has it spells it
    grips   one for each chord; a grip's own chord tells what then sounds (G with the C held is Gsus4)
    added   for each chord: what the held tone makes of it, "" where it is a tone of the chord
    cost    of all grips, and a little for each chord that is not quite the one asked for
    """

    finger: str
    string: int
    fret: int
    note: Note
    grips: tuple[Grip, ...]
    added: tuple[str, ...]
    cost: float

    def __str__(self) -> str:
        """What the hand does, in words."""
        made = dict.fromkeys(word for word in self.added if word)
        tail = f"; it makes {', '.join(made)}" if made else ""
        return f"finger {self.finger} keeps {self.note} on string {self.string} at fret {self.fret}{tail}"


def find_held_tones(
    chords: Sequence[Chord],
    hand: Hand | None = None,
    tuning: Tuning = STANDARD,
    *,
    capo: int = 0,
    max_fret: int = USUAL_MAX_FRET,
    limit: int = 3,
) -> tuple[HeldTone, ...]:
    """The fingers that can stay down through all `chords`, the easiest first; none where there is none."""
    hand = hand or Hand()
    best = {
        chord: _cheapest_by_place(chord, hand, tuning, capo, min(max_fret, HIGHEST_FRET))
        for chord in dict.fromkeys(chords)
    }
    common_places = set.intersection(*(set(places) for places in best.values())) if best else set()
    tones = []
    for finger, string, fret in common_places:
        held = [best[chord][finger, string, fret] for chord in chords]
        pitch_class = (tuning.open_midi(string) + fret) % 12
        used = tuple(grip for _, grip in held)
        note = next(t for g in used for t in g.chord.tones if t.pitch_class == pitch_class)
        added = tuple("" if g.chord == c else f"{g.chord} of {c}" for c, g in zip(chords, used, strict=True))
        tones.append(HeldTone(finger, string, fret, note, used, added, sum(points for points, _ in held)))
    tones.sort(key=lambda h: (round(h.cost, 6), h.string, h.fret, h.finger))
    return tuple(tones[:limit])


FingerPlace = tuple[str, int, int]
CostedGrip = tuple[float, Grip]


def _cheapest_by_place(
    chord: Chord, hand: Hand, tuning: Tuning, capo: int, max_fret: int
) -> dict[FingerPlace, CostedGrip]:
    """For each finger, string and fret: the cheapest grip, of the chord or of what it may become, with it there."""
    best: dict[FingerPlace, CostedGrip] = {}
    for quality in _WITH.get(chord.quality, (chord.quality,)):
        extra = 0.0 if quality == chord.quality else COLOURED
        for grip in find_grips(Chord(chord.root, quality, chord.bass), hand, tuning, capo=capo, max_fret=max_fret):
            for finger, touch in touches(grip).items():
                place = (finger, touch.low, touch.fret)
                if (
                    finger == "T"
                    or touch.low != touch.high
                    or touch.low not in TOP_STRINGS
                    or touch.fret > HIGHEST_HELD
                ):
                    continue
                if place not in best or grip.cost + extra < best[place][0]:
                    best[place] = grip.cost + extra, grip
    return best
