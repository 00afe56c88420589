"""Roman numerals, both ways."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadMusic
from coach.music.chords import Chord
from coach.music.key_chords import BORROWED, DOMINANT, OUTSIDE, OWN, role_in_key
from coach.music.keys import KEYS, Key
from coach.music.keysheet import KeySheet, make_keysheets
from coach.music.notes import Note
from coach.music.numerals import chord_of, numeral, numerals
from coach.music.qualities import QUALITIES
from tests.sentences import is_one_sentence

NOTES = st.builds(Note, st.integers(0, 6), st.integers(-1, 1))
CHORDS = st.builds(Chord, NOTES, st.sampled_from(list(QUALITIES)), st.one_of(st.none(), NOTES))

IN_C = {
    "C": "I", "Dm": "ii", "Em": "iii", "F": "IV", "G": "V", "Am": "vi", "Bdim": "vii°",
    "Cmaj7": "Imaj7", "Dm7": "ii7", "G7": "V7", "Bm7b5": "viiø7", "F7": "IV7",
    "D": "V/V", "D7": "V7/V", "A7": "V7/ii", "A": "V/ii", "B7": "V7/iii", "E7": "V7/vi", "C7": "V7/IV", "D9": "V9/V",
    "Bb": "bVII", "Eb": "bIII", "Ab": "bVI", "Fm": "iv", "Gm": "v", "Cm": "i", "Ddim": "ii°", "Db": "bII",
    "Bdim7": "vii°7", "F#dim7": "#iv°7", "Caug": "I+", "Gsus4": "Vsus4", "C6": "Iadd6", "C6/9": "I69", "F5": "IV5",
    "C/E": "I/3", "C/G": "I/5", "Am/G": "vi/7", "C/Bb": "I/b7", "F/G": "IV/2", "D7/F#": "V7/V/3", "Dm/C": "ii/7",
    "Am/C#": "vi/#3", "C/C": "I/1",
}  # fmt: skip
IN_A_MINOR = {
    "Am": "i", "Bdim": "ii°", "C": "III", "Dm": "iv", "Em": "v", "F": "VI", "G": "VII",
    "E": "V", "E7": "V7", "G#dim": "vii°", "G#dim7": "vii°7", "Am(maj7)": "imaj7", "Caug": "III+",
    "B7": "V7/V", "B": "V/V", "A7": "V7/iv", "C7": "V7/VI", "D7": "V7/VII", "G7": "VII7",
    "A": "I", "D": "IV", "F#m": "vi", "C#m": "#iii", "Bm": "ii",
    "Bb": "bII", "Gm": "bvii", "F#": "#VI", "Gb": "bbVII", "Am/G": "i/7", "E7/G#": "V7/3",
}  # fmt: skip


@pytest.mark.parametrize(("chord", "figure"), IN_C.items())
def test_numerals_in_c_major(chord: str, figure: str) -> None:
    """What a musician writes under each chord in C."""
    assert numeral(Chord.parse(chord), Key.parse("C")) == figure
    assert str(chord_of(figure, Key.parse("C"))) == chord


@pytest.mark.parametrize(("chord", "figure"), IN_A_MINOR.items())
def test_numerals_in_a_minor(chord: str, figure: str) -> None:
    """The natural minor's III VI VII, the raised leading note's V and vii°, and what leads elsewhere."""
    assert numeral(Chord.parse(chord), Key.parse("Am")) == figure
    assert str(chord_of(figure, Key.parse("Am"))) == chord


@given(CHORDS, st.sampled_from(KEYS))
def test_chord_to_numeral_and_back_is_the_same_chord(chord: Chord, key: Key) -> None:
    """Every chord of every quality and bass, in every key, spelled alike."""
    assert chord_of(numeral(chord, key), key) == chord


@pytest.mark.parametrize("sheet", make_keysheets(), ids=lambda sheet: str(sheet.key))
def test_every_numeral_of_a_key_s_sheet_reads_as_its_chord(sheet: KeySheet) -> None:
    """Also where the chord has two readings, as G7 in A minor: VII7 and V7/III."""
    for _, entries in sheet.groups:
        for entry in entries:
            assert chord_of(entry.numeral, sheet.key) == entry.chord


@pytest.mark.parametrize(
    ("written", "chord"),
    [
        *[("viio", "Bdim"), ("viio7", "Bdim7"), ("viiø", "Bm7b5"), ("VII°", "Bdim"), ("iim7", "Dm7"), ("IM7", "Cmaj7")],
        *[("V+", "Gaug"), ("♭VII", "Bb"), ("♯iv°", "F#dim"), ("vii°7/V", "F#dim7"), ("V7/bVI", "Eb7"), ("V/IV", "C")],
        *[("V7/V/V", "A7"), ("iv/3", "Fm/Ab"), ("Imin", "Cm")],
    ],
)
def test_other_numerals_are_understood(written: str, chord: str) -> None:
    """Other usual ways to write them, other chords of a chord's key, a dominant of a dominant."""
    assert str(chord_of(written, Key.parse("C"))) == chord


def test_flats_on_the_degrees_of_a_minor_key_change_nothing() -> None:
    """bIII bVI bVII are counted from the major scale, so in A minor they are III VI VII: C F G."""
    minor = Key.parse("Am")
    assert [str(chord_of(n, minor)) for n in ("bIII", "bVI", "bVII")] == ["C", "F", "G"]
    assert [str(chord_of(n, minor)) for n in ("III", "VI", "VII")] == ["C", "F", "G"]


def test_no_chord_is_n_both_ways() -> None:
    """N stays N."""
    assert numerals([None], Key.parse("C")) == ("N",)
    assert chord_of("N", Key.parse("C")) is None


@pytest.mark.parametrize(
    "text", ["", "X", "VIII", "iiii", "Iv", "V/", "V//V", "I/8", "IVfoo", "V6", "V65", "V/vii°", "1"]
)
def test_what_is_no_numeral_is_refused(text: str) -> None:
    """One sentence; a bare 6 could be two things, so it is not guessed, and vii° has no dominant."""
    with pytest.raises(BadMusic) as caught:
        chord_of(text, Key.parse("C"))
    assert is_one_sentence(caught.value)


@pytest.mark.parametrize(
    ("key", "chord", "how"),
    [
        ("C", "Csus4", OWN),
        ("C", "G9", OWN),
        ("C", "C/Bb", OWN),
        ("C", "Fm6", BORROWED),
        ("C", "Bdim7", BORROWED),
        ("C", "E7", DOMINANT),
        ("C", "F7", OUTSIDE),
        ("C", "A#", OUTSIDE),
        ("Am", "E7", OWN),
        ("Am", "D", BORROWED),
        ("Am", "D7", DOMINANT),
        ("Am", "Bb", OUTSIDE),
    ],
)
def test_how_a_chord_stands_in_a_key(key: str, chord: str, how: str) -> None:
    """By its tones: the key's, the parallel key's, a dominant of another chord, or none of these (A# is not Bb)."""
    assert role_in_key(Chord.parse(chord), Key.parse(key)) == how
