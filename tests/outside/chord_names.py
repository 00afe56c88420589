"""What music21 calls the everyday chords, for the tests that compare with it."""

from __future__ import annotations

# Names of chords by their tones: music21's `Chord.commonName`, which goes by Forte's tables and the spelling.
COMMON_NAMES = {
    "": "major triad",
    "m": "minor triad",
    "dim": "diminished triad",
    "aug": "augmented triad",
    "7": "dominant seventh chord",
    "maj7": "major seventh chord",
    "m7": "minor seventh chord",
    "m7b5": "half-diminished seventh chord",
    "dim7": "diminished seventh chord",
}
