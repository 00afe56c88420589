"""Chord symbols and their tones."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadMusic
from coach.music.chords import QUALITIES, Chord, read_bars
from coach.music.notes import Note
from coach.music.qualities import read_quality
from tests.sentences import is_one_sentence

ROOTS = st.sampled_from(
    [Note.parse(n) for n in ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B", "Cb"]]
)
CHORDS = st.builds(Chord, ROOTS, st.sampled_from(list(QUALITIES)), st.one_of(st.none(), ROOTS))

# common practice, no source: any harmony handbook spells these so.
TONES = {
    "C": "C E G",
    "Am": "A C E",
    "F#m": "F# A C#",
    "Abm": "Ab Cb Eb",
    "E": "E G# B",
    "B7": "B D# F# A",
    "Bbmaj7": "Bb D F A",
    "Dm7": "D F A C",
    "Bm7b5": "B D F A",
    "C#dim7": "C# E G Bb",
    "Bdim": "B D F",
    "Caug": "C E G#",
    "Dsus4": "D G A",
    "Asus2": "A B E",
    "G7sus4": "G C D F",
    "Cadd9": "C E G D",
    "A6": "A C# E F#",
    "Em9": "E G B D F#",
    "D5": "D A",
    "Am(maj7)": "A C E G#",
    "C6/9": "C E G A D",
    "Gm6/9": "G Bb D E A",
    "Amadd9": "A C E B",
    "Fmaj9": "F A C E G",
    "A9": "A C# E G B",
    "D9sus4": "D G A C E",
    "E7b9": "E G# B D F",
    "E7#9": "E G# B D F##",
    "Eb7#5": "Eb G B Db",
    "G7b5": "G B Db F",
    "G11": "G B D F A C",
    "Am11": "A C E G B D",
    "C13": "C E G Bb D A",
    "D#7": "D# F## A# C#",
    "Fbmaj7": "Fb Ab Cb Eb",
    "Cdim7": "C Eb Gb Bbb",
}


@pytest.mark.parametrize(("symbol", "tones"), TONES.items())
def test_chord_tones_are_spelled(symbol: str, tones: str) -> None:
    """Each chord has the tones a handbook gives it, on the right letters."""
    assert " ".join(map(str, Chord.parse(symbol).tones)) == tones


@given(CHORDS)
def test_a_chord_reads_back_as_written(chord: Chord) -> None:
    """A symbol survives writing and reading, with a bass note or without."""
    assert Chord.parse(str(chord)) == chord


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        *[("CM7", "Cmaj7"), ("CΔ", "Cmaj7"), ("CΔ7", "Cmaj7"), ("Cma7", "Cmaj7"), ("CM9", "Cmaj9"), ("CΔ9", "Cmaj9")],
        *[("Amin", "Am"), ("A-", "Am"), ("A-7", "Am7"), ("Ami7", "Am7"), ("AmM7", "Am(maj7)"), ("A-Δ", "Am(maj7)")],
        *[("Dsus", "Dsus4"), ("G7sus", "G7sus4"), ("G9sus", "G9sus4"), ("C+", "Caug"), ("Gmaj", "G"), ("GM", "G")],
        *[("B°", "Bdim"), ("Bo7", "Bdim7"), ("B°7", "Bdim7"), ("Bø", "Bm7b5"), ("Bø7", "Bm7b5"), ("Bm7(b5)", "Bm7b5")],
        *[("C69", "C6/9"), ("C6add9", "C6/9"), ("C6/9/E", "C69/E"), ("C(add9)", "Cadd9"), ("Cadd2", "Cadd9")],
        *[("Am(add9)", "Amadd9"), ("E7(#9)", "E7#9"), ("E7-9", "E7b9"), ("C+7", "C7#5"), ("C7+5", "C7#5")],
        *[("B♭m7", "Bbm7"), ("F♯/A♯", "F#/A#"), ("A-9", "Am9")],
    ],
)
def test_other_usual_spellings_are_understood(written: str, plain: str) -> None:
    """CM7 is Cmaj7, A- is Am and a triangle alone is a major seventh."""
    assert Chord.parse(written) == Chord.parse(plain)


def test_every_quality_has_a_symbol_of_its_own() -> None:
    """No two kinds of chord are the same row of intervals, and each key of the table reads as itself."""
    assert len(set(QUALITIES.values())) == len(QUALITIES)
    assert [read_quality(name) for name in QUALITIES] == list(QUALITIES)


@pytest.mark.parametrize(
    ("slip", "near"), [("am", "Am"), ("f#m7", "F#m7"), ("Cmaj7#11", "Cmaj7"), ("C2", "Csus2"), ("Gsus5", "Gsus4")]
)
def test_a_slip_is_answered_with_the_nearest_symbol(slip: str, near: str) -> None:
    """A chord symbol begins with a capital; a quality that is not known has a neighbour."""
    with pytest.raises(BadMusic, match=rf"did you mean {re.escape(near)}\?"):
        Chord.parse(slip)


@pytest.mark.parametrize("word", ["N", "NC", "N.C."])
def test_no_chord_is_written_n(word: str) -> None:
    """The other ways to write that nothing is held are read too."""
    assert read_bars(f"C | {word}")[1] == (None,)


def test_a_slash_names_the_bass() -> None:
    """D/F# wants F# at the bottom, and its tones stay D F# A."""
    chord = Chord.parse("D/F#")
    assert str(chord.lowest) == "F#"
    assert [str(t) for t in chord.tones] == ["D", "F#", "A"]


@pytest.mark.parametrize(
    ("symbol", "fifth"), [("C", "G"), ("Bdim", "F"), ("Caug", "G#"), ("F#m", "C#"), ("Dsus4", "A")]
)
def test_the_fifth_is_the_chords_own(symbol: str, fifth: str) -> None:
    """A diminished chord has a flat fifth and an augmented one a sharp fifth."""
    assert str(Chord.parse(symbol).fifth) == fifth


def test_bars_and_chords_are_read() -> None:
    """Bars are parted by `|`, chords of a bar by blanks, N is none; outer bar lines may stand or not."""
    assert read_bars("| C | F G | N |") == read_bars("C|F  G|N")
    assert [len(bar) for bar in read_bars("C | F G | N")] == [1, 2, 1]
    assert read_bars("N") == ((None,),)


@pytest.mark.parametrize("text", ["H", "Cmin9b5", "c", "C//G", "C/", "C/H", "Cfoo", "C|", "7"])
def test_what_is_no_chord_is_refused(text: str) -> None:
    """A symbol that is not understood is refused in one sentence."""
    with pytest.raises(BadMusic) as caught:
        Chord.parse(text)
    assert is_one_sentence(caught.value)


@pytest.mark.parametrize(("text", "bar"), [("C | | G", 2), ("C | F | Gfoo", 3), ("", 1)])
def test_a_bad_bar_is_named(text: str, bar: int) -> None:
    """The refusal says in which bar, counted from 1."""
    with pytest.raises(BadMusic) as caught:
        read_bars(text)
    assert str(caught.value).startswith(f"bar {bar}: ")
    assert is_one_sentence(caught.value)
