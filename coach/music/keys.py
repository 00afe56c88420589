"""The thirty keys: their scales, their signatures, and how a pitch is spelled in each.

A minor key is the natural minor; its raised sixth and seventh belong to the chords that use them (numerals.py).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from coach.errors import BadMusic
from coach.music.notes import SEMITONES, Note
from coach.music.qualities import Interval

MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
MINOR_SCALE = (0, 2, 3, 5, 7, 8, 10)
MOST_ACCIDENTALS = 7

# Steps along the circle of fifths from C to each letter C D E F G A B: F C G D A E B is -1 0 1 2 3 4 5.
_FIFTHS = (0, 2, 4, -1, 1, 3, 5)

_KEY = re.compile(r"([A-Ga-g])(##|#|♯|bb|b|♭|)(.*)", re.DOTALL)
_MODES = {
    **dict.fromkeys(("", "M", "maj", "major"), False),
    **dict.fromkeys(("m", "min", "minor", "-"), True),
}


def fifths(note: Note) -> int:
    """How many perfect fifths `note` lies above C, negative for fifths below: G 1, F -1, F# 6, Bb -2."""
    return _FIFTHS[note.step] + 7 * note.alter


def note_at(position: int) -> Note:
    """The note `position` perfect fifths above C, the other way round from `fifths`."""
    letter = (position + 1) % 7
    step = _FIFTHS.index(letter - 1)
    return Note(step, (position + 1) // 7)


def interval_between(low: Note, high: Note) -> Interval:
    """The (letter steps, semitones) from `low` up to the next `high`: `low.up(*between(low, high))` is `high`."""
    steps = (high.step - low.step) % 7
    octave = 12 if high.step < low.step else 0
    return steps, SEMITONES[high.step] + high.alter + octave - SEMITONES[low.step] - low.alter


@dataclass(frozen=True)
class Key:
    """A tonic and whether the key is minor. `Key.parse` keeps to the thirty keys in use; arithmetic may leave them."""

    tonic: Note
    minor: bool = False

    @property
    def scale(self) -> tuple[Note, ...]:
        """The seven notes from the tonic up, each on its own letter; natural minor in a minor key."""
        semitones = MINOR_SCALE if self.minor else MAJOR_SCALE
        return tuple(self.tonic.up(k, semitones[k]) for k in range(7))

    @property
    def signature(self) -> int:
        """Accidentals of the key signature: sharps positive, flats negative."""
        return fifths(self.tonic) - (3 if self.minor else 0)

    @property
    def in_use(self) -> bool:
        """Whether it is one of the thirty keys with at most seven accidentals."""
        return abs(self.signature) <= MOST_ACCIDENTALS

    @property
    def parallel(self) -> Key:
        """The key of the other mode on the same tonic."""
        return Key(self.tonic, not self.minor)

    @property
    def relative(self) -> Key:
        """The key of the other mode with the same signature: A minor for C major."""
        return Key(self.tonic.up(2, 3) if self.minor else self.tonic.up(5, 9), not self.minor)

    @property
    def title(self) -> str:
        """As it is said: `E major`, `F# minor`."""
        return f"{self.tonic} {'minor' if self.minor else 'major'}"

    @property
    def signature_text(self) -> str:
        """As it is said: `4 sharps`, `1 flat`, `no sharps or flats`."""
        count = abs(self.signature)
        if not count:
            return "no sharps or flats"
        return f"{count} {'sharp' if self.signature > 0 else 'flat'}{'s' if count > 1 else ''}"

    def spell(self, pitch_class: int) -> Note:
        """How this key writes a pitch: its own scale first, else the nearest on the circle of fifths.

        That is from the flat second to the sharp fourth: Bb, not A#, in C; A#, not Bb, in E (where it leads to B).
        """
        tonic = fifths(self.tonic)
        window = (note_at(tonic + k) for k in range(-5, 7))
        return next(note for note in window if note.pitch_class == pitch_class % 12)

    def __str__(self) -> str:
        return f"{self.tonic}{'m' if self.minor else ''}"

    @classmethod
    def parse(cls, text: str) -> Key:
        """Read `C`, `Am`, `F# minor`, `Bb major`. Raises BadMusic that names the nearest key."""
        match = _KEY.fullmatch(text.strip())
        if match is None:
            raise BadMusic(f"'{text}' is not a key", mend="write a key like C, Bb, Am or F# minor")
        letter, sign, rest = match.groups()
        tonic = Note.parse(letter.upper() + sign.replace("♯", "#").replace("♭", "b"))
        mode = rest.strip()
        mode = mode if mode in _MODES else mode.lstrip("-").strip()
        minor = _MODES.get(mode if mode in _MODES else mode.lower())
        if minor is None:
            near = cls(tonic, mode.lower().startswith(("m", "-")) and not mode.lower().startswith("ma")).neighbour
            raise BadMusic(f"'{text}' is not a key", mend=f"did you mean {near} ({near.title})?")
        if not mode and letter.islower():
            # Some write a minor key in a small letter, some write any key so: better asked than guessed.
            raise BadMusic(
                f"'{text}' may be major or minor", mend=f"write {cls(tonic)} for major or {cls(tonic, True)} for minor"
            )
        key = cls(tonic, minor)
        if not key.in_use:
            raise BadMusic(
                f"{key.title} would need {key.signature_text}, and no key has more than {MOST_ACCIDENTALS}",
                mend=f"did you mean {key.neighbour} ({key.neighbour.title})?",
            )
        return key

    @property
    def neighbour(self) -> Key:
        """The key in use that sounds the same, with the fewest accidentals; itself where it is in use."""
        if self.in_use:
            return self
        same = (k for k in KEYS if k.minor == self.minor and k.tonic.pitch_class == self.tonic.pitch_class)
        return min(same, key=lambda k: abs(k.signature))


# From seven flats to seven sharps.
MAJOR_KEYS = tuple(Key(note_at(k)) for k in range(-MOST_ACCIDENTALS, MOST_ACCIDENTALS + 1))
MINOR_KEYS = tuple(key.relative for key in MAJOR_KEYS)
KEYS = MAJOR_KEYS + MINOR_KEYS
