"""Moving a progression to another key by numeral, spelled as that key spells it; players' names are a step apart."""

from __future__ import annotations

from collections.abc import Sequence

from coach.errors import BadMusic
from coach.music.chords import Chord
from coach.music.keys import Key, interval_between
from coach.music.notes import SEMITONES, Note

# White keys of the piano that a signature may call by a neighbour's letter; nobody asks a guitarist for Fb.
_PLAIN = {"Fb": "E", "Cb": "B", "E#": "F", "B#": "C"}


def rekey(chords: Sequence[Chord | None], old: Key, new: Key) -> tuple[Chord | None, ...]:
    """The same numerals in another key of the same mode: every root and bass by the interval between the tonics.

    Exact, so moving there and back gives every chord back letter for letter. Raises BadMusic when one key is major
    and the other minor.
    """
    if old.minor != new.minor:
        meant = Key(new.tonic, old.minor).neighbour
        raise BadMusic(
            f"chords of {old.title} stay in a {'minor' if old.minor else 'major'} key",
            mend=f"did you mean {meant} ({meant.title})?",
        )
    steps, semitones = interval_between(old.tonic, new.tonic)

    def move(chord: Chord) -> Chord:
        bass = None if chord.bass is None else chord.bass.up(steps, semitones)
        return Chord(chord.root.up(steps, semitones), chord.quality, bass)

    return tuple(None if chord is None else move(chord) for chord in chords)


def capo_to_match(old: Key, new: Key) -> int:
    """The fret (0 to 11) at which a capo makes shapes of the `new` key sound in the `old`: C shapes for E, 4.

    The sounding key is the shape key plus the capo's frets (common practice, no source).
    """
    return (old.tonic.pitch_class - new.tonic.pitch_class) % 12


def plain_chord(chord: Chord) -> Chord:
    """The chord under the name players use: Fb as E, Cb as B, E# as F, B# as C, no double sharps or flats.

    Only the name changes, never the sound. A bass follows its root, so that it stays the chord's third (Fb/Ab becomes
    E/G#), and is then made plain itself.
    """
    root = plain_note(chord.root)
    if chord.bass is None:
        return Chord(root, chord.quality)
    return Chord(root, chord.quality, plain_note(root.up(*interval_between(chord.root, chord.bass))))


def plain_note(note: Note) -> Note:
    """The same pitch with at most one accidental, and none where it is a white key of the piano."""
    while abs(note.alter) > 1 or str(note) in _PLAIN:
        # One letter on towards where its accidentals point: the sound stays, the accidentals grow fewer.
        way = 1 if note.alter > 0 else -1
        step = (note.step + way) % 7
        note = Note(step, note.alter - (way * ((SEMITONES[step] - SEMITONES[note.step]) * way % 12)))
    return note
