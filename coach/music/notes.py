"""Spelled notes and pitches: a letter with its accidentals, and the octave it stands in.

    letter   C  D  E  F  G  A  B
    steps    0  1  2  3  4  5  6
    semis    0  2  4  5  7  9  11

A `Note` is a spelled pitch class (F# is not Gb); a `Pitch` adds the octave of scientific pitch
notation, which changes at C and belongs to the letter: B#3 sounds as C4, Cb4 as B3.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from coach.errors import BadMusic

LETTERS = "CDEFGAB"
SEMITONES = (0, 2, 4, 5, 7, 9, 11)

_NOTE = re.compile(r"([A-Ga-g])(##|#|bb|b|)")
_PITCH = re.compile(r"([A-G])(##|#|bb|b|)(-1|[0-9])")


@dataclass(frozen=True, order=True)
class Note:
    """A spelled pitch class: `step` 0..6 for C..B, `alter` in semitones (-2..2)."""

    step: int
    alter: int = 0

    @property
    def pitch_class(self) -> int:
        """Semitones above C, 0..11."""
        return (SEMITONES[self.step] + self.alter) % 12

    def up(self, steps: int, semitones: int) -> Note:
        """The note `steps` letters and `semitones` semitones higher, spelled on that letter."""
        step = (self.step + steps) % 7
        octaves = (self.step + steps) // 7
        natural = SEMITONES[step] + 12 * octaves
        return Note(step, SEMITONES[self.step] + self.alter + semitones - natural)

    def __str__(self) -> str:
        return LETTERS[self.step] + ("#" * self.alter if self.alter > 0 else "b" * -self.alter)

    @classmethod
    def parse(cls, text: str) -> Note:
        """Read `C`, `F#`, `Bb`, `Ebb`. Raises BadMusic."""
        match = _NOTE.fullmatch(text.strip())
        if match is None:
            raise BadMusic(f"'{text}' is not a note", mend="write a letter A to G with # or b, like F# or Bb")
        letter, accidental = match.groups()
        alter = accidental.count("#") - accidental.count("b")
        return cls(LETTERS.index(letter.upper()), alter)


@dataclass(frozen=True, order=True)
class Pitch:
    """A sounding pitch, spelled: a note in an octave (C4 is middle C, MIDI 60)."""

    note: Note
    octave: int

    @property
    def midi(self) -> int:
        """MIDI note number (MIDI 1.0: 60 is middle C)."""
        return 12 * (self.octave + 1) + SEMITONES[self.note.step] + self.note.alter

    @property
    def hertz(self) -> float:
        """Equal-tempered frequency with A4 = 440 Hz (ISO 16:1975)."""
        return hertz(self.midi)

    def __str__(self) -> str:
        return f"{self.note}{self.octave}"

    @classmethod
    def parse(cls, text: str) -> Pitch:
        """Read scientific pitch notation: `E2`, `Bb3`, `F#4`. Raises BadMusic."""
        match = _PITCH.fullmatch(text.strip())
        if match is None:
            raise BadMusic(f"'{text}' is not a pitch", mend="write a note and its octave, like E2 or Bb3")
        letter, accidental, octave = match.groups()
        return cls(Note.parse(letter + accidental), int(octave))


_SHARP_NAMES = tuple(Note.parse(n) for n in ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"])


def hertz(midi: float) -> float:
    """Frequency in Hz of a MIDI note number, f = 440 · 2^((n - 69) / 12) (MIDI Tuning Standard, ISO 16)."""
    return 440.0 * math.pow(2.0, (midi - 69) / 12)


def pitch_of(midi: int) -> Pitch:
    """The pitch of a MIDI number, spelled with sharps where no key says otherwise."""
    return Pitch(_SHARP_NAMES[midi % 12], midi // 12 - 1)


def spell_pitch(midi: int, note: Note) -> Pitch:
    """The pitch with this MIDI number on the letter of `note`, to which the octave belongs (B#3 is C4)."""
    return Pitch(note, (midi - SEMITONES[note.step] - note.alter) // 12 - 1)


def read_range(text: str) -> tuple[Pitch, Pitch]:
    """Two pitches, the lower first: `A2-D4`. Raises BadMusic."""
    low, dash, high = (part.strip() for part in text.replace("–", "-").partition("-"))
    if not (low and dash and high):
        raise BadMusic(f"'{text}' is not a range", mend="write the lowest and highest pitch, like A2-D4")
    reach = Pitch.parse(low), Pitch.parse(high)
    if reach[0].midi > reach[1].midi:
        raise BadMusic(f"'{text}' is upside down", mend=f"write {high}-{low}")
    return reach
