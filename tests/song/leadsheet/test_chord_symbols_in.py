"""Chord symbols of MusicXML: each of the 33 kinds, degrees, basses; what is not quite ours is told."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from fractions import Fraction

import pytest

from coach.music.qualities import QUALITIES
from coach.song.leadsheet.chord_symbols_in import KINDS, NEAREST, OTHER, SILENT, Harmony, harmonies
from tests.song.sheets import harmony, note

# W3C MusicXML 4.0, simple type kind-value.
PUBLISHED = (
    "major", "minor", "augmented", "diminished", "dominant", "major-seventh", "minor-seventh",
    "diminished-seventh", "augmented-seventh", "half-diminished", "major-minor", "major-sixth", "minor-sixth",
    "dominant-ninth", "major-ninth", "minor-ninth", "dominant-11th", "major-11th", "minor-11th",
    "dominant-13th", "major-13th", "minor-13th", "suspended-second", "suspended-fourth", "Neapolitan",
    "Italian", "French", "German", "pedal", "power", "Tristan", "other", "none",
)  # fmt: skip


def read(text: str) -> list[Harmony]:
    """The chord symbols of one measure with four divisions to a quarter note."""
    return harmonies(ET.fromstring(f"<measure>{text}</measure>"), Fraction(4))[0]


def degree(value: int, alter: int, kind: str) -> str:
    """A degree that is added, altered or left out."""
    return (
        f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter>"
        f"<degree-type>{kind}</degree-type></degree>"
    )


def test_every_published_kind_is_known() -> None:
    """The 33 kinds of MusicXML 4.0, no more and no fewer, each with a quality of ours but `other` and `none`."""
    assert {*KINDS, OTHER, SILENT} == set(PUBLISHED)
    assert len(PUBLISHED) == 33
    assert set(KINDS.values()) <= set(QUALITIES)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        (harmony("C"), "C"),
        (harmony("Bb", "dominant"), "Bb7"),
        (harmony("F#", "half-diminished"), "F#m7b5"),
        (harmony("D", "major", "<bass><bass-step>F</bass-step><bass-alter>1</bass-alter></bass>"), "D/F#"),
        (harmony("C", "major", "<inversion>1</inversion>"), "C/E"),
        (harmony("G", "suspended-fourth", degree(7, -1, "add")), "G7sus4"),
        (harmony("G", "suspended-fourth", degree(7, 0, "add")), "G7sus4"),
        (harmony("C", "major", degree(9, 0, "add")), "Cadd9"),
        (harmony("E", "dominant", degree(9, 1, "add")), "E7#9"),
        (harmony("E", "dominant", degree(5, -1, "alter")), "E7b5"),
        (harmony("A", "major", degree(3, 0, "subtract")), "A5"),
        (harmony("A", "other", text="m7"), "Am7"),
        (harmony("C", "major-sixth", degree(9, 0, "add")), "C6/9"),
    ],
)
def test_a_symbol_is_read_by_its_elements(written: str, meant: str) -> None:
    """Root, kind, degrees and bass make the chord a player would write."""
    (found,) = read(written)
    assert str(found.chord) == meant
    assert found.note == ""


@pytest.mark.parametrize("kind", NEAREST)
def test_what_is_not_quite_ours_is_told(kind: str) -> None:
    """A kind without a name of ours is read as the nearest, and that is said."""
    (found,) = read(harmony("C", kind))
    assert found.chord is not None
    assert "is read as" in found.note


def test_no_chord_and_a_missing_root() -> None:
    """`none` is N; a chord without a root is left out, and told."""
    assert read("<harmony><kind>none</kind></harmony>") == [Harmony(Fraction(0), None)]
    (found,) = read("<harmony><numeral><numeral-root>5</numeral-root></numeral><kind>major</kind></harmony>")
    assert found.chord is None
    assert "left out" in found.note


def test_a_symbol_stands_where_it_is_written() -> None:
    """After two quarters; with an offset of two divisions half a beat later; a step back moves what follows."""
    back = "<backup><duration>4</duration></backup>"
    text = harmony("C") + note("C4", 2) + harmony("F") + back + harmony("G")
    assert [(h.at, str(h.chord)) for h in read(text)] == [(0, "C"), (1, "G"), (2, "F")]
    later = harmony("C").replace("</harmony>", "<offset>2</offset></harmony>")
    assert [h.at for h in read(later)] == [Fraction(1, 2)]
