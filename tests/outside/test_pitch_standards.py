"""Pitch held against published standards; each table names its source."""

from __future__ import annotations

import pytest

from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD
from coach.music.notes import Pitch, hertz, pitch_of


def test_the_standard_tuning_frequency() -> None:
    """A4 is 440 Hz. Source: ISO 16:1975."""
    assert Pitch.parse("A4").hertz == 440.0


@pytest.mark.parametrize(
    ("midi", "hz", "half_last_place"),
    [(60, 261.6256, 5e-5), (0, 8.1758, 5e-5), (69, 440.0, 0.0), (127, 12543.85, 5e-3)],
)
def test_midi_notes_have_their_frequencies(midi: int, hz: float, half_last_place: float) -> None:
    """Notes 0, 60, 69 and 127 in equal temperament. Source: MIDI 1.0 note numbers, MIDI Tuning Standard."""
    assert abs(hertz(midi) - hz) <= half_last_place


@pytest.mark.parametrize("midi", range(128 - 12))
def test_an_octave_doubles_the_frequency(midi: int) -> None:
    """Twelve notes up is twice the frequency. Source: MIDI Tuning Standard (equal temperament)."""
    assert hertz(midi + 12) == pytest.approx(2 * hertz(midi), rel=1e-14)


@pytest.mark.parametrize(
    ("name", "midi"), [("B3", 59), ("C4", 60), ("A4", 69), ("B#3", 60), ("Cb4", 59), ("C-1", 0), ("G9", 127)]
)
def test_the_octave_changes_at_c(name: str, midi: int) -> None:
    """C4 is middle C, MIDI 60; B#3 sounds it too. Source: scientific pitch notation (from memory), MIDI 1.0."""
    assert Pitch.parse(name).midi == midi


def test_middle_c_and_its_neighbour_are_named() -> None:
    """59 is B3, 60 is C4. Source: scientific pitch notation (from memory), MIDI 1.0."""
    assert [str(pitch_of(59)), str(pitch_of(60))] == ["B3", "C4"]


# W3C MusicXML 4.0 tutorial "Tablature": staff-tuning lines 1 to 6 are E2 A2 D3 G3 B3 E4.
# The frequencies follow from MIDI 40 45 50 55 59 64 in equal temperament (MIDI Tuning Standard).
@pytest.mark.parametrize(
    ("string", "name", "midi", "hz"),
    [
        (6, "E2", 40, 82.4069),
        (5, "A2", 45, 110.0000),
        (4, "D3", 50, 146.8324),
        (3, "G3", 55, 195.9977),
        (2, "B3", 59, 246.9417),
        (1, "E4", 64, 329.6276),
    ],
)
def test_the_open_strings(string: int, name: str, midi: int, hz: float) -> None:
    """Standard tuning, string by string. Source: W3C tablature tutorial; MIDI Tuning Standard."""
    pitch = STANDARD.pitches[6 - string]
    assert (str(pitch), STANDARD.open_midi(string)) == (name, midi)
    assert abs(pitch.hertz - hz) <= 5e-5


def test_the_published_tablature_bar() -> None:
    """String 3 at frets 5 7 8 7 5 is C4 D4 Eb4 D4 C4. Source: W3C MusicXML 4.0 tutorial "Tablature"."""
    sounds = [STANDARD.open_midi(3) + fret for fret in (5, 7, 8, 7, 5)]
    assert sounds == [Pitch.parse(p).midi for p in ["C4", "D4", "Eb4", "D4", "C4"]]


# W3C MusicXML 4.0 tutorial "Chord Symbols and Diagrams". Its third frame ("A11", frets 0 6 4 3 3) is left out:
# it sounds G#3, which is not in A11; fret 5 on string 4 would be G3, so it seems a slip in the example.
@pytest.mark.parametrize(
    ("shape", "sounds"), [("x55430", "D3 G3 B3 D4 E4"), ("x77600", "E3 A3 C#4 B3 E4")], ids=["G6/D", "A(add9)"]
)
def test_the_published_chord_frames(shape: str, sounds: str) -> None:
    """Two diagrams sound the pitches printed above them. Source: W3C MusicXML 4.0 tutorial on chord symbols."""
    held = Shape.parse(shape)
    assert [held.midi(s) for s in held.sounding] == [Pitch.parse(p).midi for p in sounds.split()]
