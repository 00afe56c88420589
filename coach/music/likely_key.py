"""Which key a progression is likely in: the one whose own chords it uses most, and where it begins and ends."""

from __future__ import annotations

from collections.abc import Sequence

from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.notes import Note

# What the first and the last chord add when they are the tonic's own triad, in chords that fit (ours, no source):
# a tune ends on the tonic more surely than it starts there.
_STARTS_HOME, _ENDS_HOME = 1.5, 1.0
_TONICS = ("C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db")


def likely_key(chords: Sequence[Chord | None]) -> Key:
    """The likeliest key; C major where there is no chord. Of equal ones the one with fewer accidentals."""
    sounding = [chord for chord in chords if chord is not None]
    keys = [Key(Note.parse(name), False) for name in _TONICS]
    keys += [key.relative for key in keys]

    def fit(key: Key) -> float:
        scale = {note.pitch_class for note in key.scale}
        if key.minor:
            scale.add((key.tonic.pitch_class + 11) % 12)  # the leading note of the minor key's own dominant
        inside = sum(1.0 for c in sounding if all(tone.pitch_class in scale for tone in c.tones))
        home = {True: ("m", "m7"), False: ("", "maj7", "6")}[key.minor]

        def is_home(chord: Chord) -> bool:
            return chord.root.pitch_class == key.tonic.pitch_class and chord.quality in home

        ends = _STARTS_HOME * is_home(sounding[0]) + _ENDS_HOME * is_home(sounding[-1]) if sounding else 0.0
        return inside + ends

    return max(keys, key=lambda key: (fit(key), not key.minor, -abs(key.signature)))
