"""Spelled notes and pitches."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadMusic
from coach.music.notes import LETTERS, Note, Pitch, pitch_of
from tests.sentences import is_one_sentence

NOTES = st.builds(Note, st.integers(0, 6), st.integers(-2, 2))


@given(NOTES)
def test_a_note_reads_back_as_written(note: Note) -> None:
    """Every spelling, double sharps and flats too, survives writing and reading."""
    assert Note.parse(str(note)) == note


@given(NOTES, st.integers(-1, 9))
def test_a_pitch_reads_back_as_written(note: Note, octave: int) -> None:
    """Scientific pitch notation survives writing and reading."""
    assert Pitch.parse(str(Pitch(note, octave))) == Pitch(note, octave)


@pytest.mark.parametrize(
    ("text", "pitch_class"), [("C", 0), ("b", 11), ("bb", 10), ("F#", 6), ("Gb", 6), ("Fb", 4), ("B#", 0), ("F##", 7)]
)
def test_notes_by_semitone(text: str, pitch_class: int) -> None:
    """F# and Gb are one key of the piano; Fb is E's key and B# is C's."""
    assert Note.parse(text).pitch_class == pitch_class


def test_two_spellings_are_two_notes() -> None:
    """F# is not Gb, though they sound alike."""
    assert Note.parse("F#") != Note.parse("Gb")


@pytest.mark.parametrize(
    ("root", "steps", "semitones", "note"),
    [
        ("D", 2, 4, "F#"),
        ("Ab", 2, 4, "C"),
        ("Ab", 2, 3, "Cb"),
        ("B", 4, 7, "F#"),
        ("Bb", 6, 10, "Ab"),
        ("G#", 2, 4, "B#"),
    ],
)
def test_intervals_keep_their_letter(root: str, steps: int, semitones: int, note: str) -> None:
    """A major third above D is F#, a minor third above Ab is Cb and not B."""
    assert Note.parse(root).up(steps, semitones) == Note.parse(note)


@given(st.integers(0, 127))
def test_a_midi_number_names_a_pitch_of_that_number(midi: int) -> None:
    """Naming a MIDI number and reading the name gives the number."""
    assert Pitch.parse(str(pitch_of(midi))).midi == midi


def test_the_letters_stand_in_order_of_pitch() -> None:
    """From C to B each letter is higher than the one before."""
    numbers = [Pitch.parse(f"{letter}4").midi for letter in LETTERS]
    assert numbers == [60, 62, 64, 65, 67, 69, 71]


@pytest.mark.parametrize("text", ["", "H", "C###", "Fis", "#F", "C b", "C\n#", "4", "ß"])
def test_what_is_no_note_is_refused(text: str) -> None:
    """A word that is no note is refused in one sentence."""
    with pytest.raises(BadMusic) as caught:
        Note.parse(text)
    assert is_one_sentence(caught.value)


@pytest.mark.parametrize("text", ["E", "E 2", "H2", "e2", "E2.5", "E-2", "E10", "E" + "9" * 6000, "E²"])
def test_what_is_no_pitch_is_refused(text: str) -> None:
    """An octave is one figure (or -1): anything else, however long, is refused in one sentence."""
    with pytest.raises(BadMusic) as caught:
        Pitch.parse(text)
    assert is_one_sentence(caught.value)
