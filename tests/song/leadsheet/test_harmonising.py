"""Simple chords put to a tune: those a beginner's songbook would have (common practice, no source)."""

from __future__ import annotations

from fractions import Fraction

from coach.music.keys import Key
from coach.music.notes import Pitch
from coach.song.chart import TuneNote
from coach.song.leadsheet.harmonising import harmonised


def tune(text: str) -> tuple[tuple[TuneNote, ...], Fraction]:
    """A bar of quarter notes."""
    notes = tuple(TuneNote(Fraction(k), Fraction(1), Pitch.parse(p)) for k, p in enumerate(text.split()))
    return notes, Fraction(max(len(notes), 1))


def chords(key: str, *bars: str) -> list[str]:
    """The chord of each bar, N for none."""
    return [str(c) if c else "N" for c in harmonised([tune(bar) for bar in bars], Key.parse(key))]


def test_the_notes_of_a_chord_ask_for_it() -> None:
    """Broken chords of C, F and G get just those."""
    assert chords("C", "C4 E4 G4", "F4 A4 C5", "G4 B4 D5", "C5 G4 E4") == ["C", "F", "G", "C"]


def test_a_minor_tune_gets_its_major_dominant() -> None:
    """In A minor, E G# B is E and the home chord A minor."""
    assert chords("Am", "A4 C5 E5", "E4 G#4 B4", "A4 E4 A4") == ["Am", "E", "Am"]


def test_a_pick_up_takes_the_chord_it_leads_to() -> None:
    """A lone G before C E G."""
    assert chords("C", "G4", "C5 E5 G5", "C5 G4 C5")[0] == "C"


def test_bars_without_notes() -> None:
    """Before the tune nothing; in its rests the chord goes on; without any tune nothing at all."""
    assert chords("C", "", "C4 E4 G4", "", "C4 E4 C4") == ["N", "C", "C", "C"]
    assert chords("C", "", "") == ["N", "N"]
