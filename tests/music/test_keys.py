"""Keys: signatures, scales, spelling, reading."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadMusic
from coach.music.keys import KEYS, MAJOR_KEYS, MINOR_KEYS, Key, fifths, interval_between, note_at
from coach.music.notes import Note
from tests.sentences import is_one_sentence

NOTES = st.builds(Note, st.integers(0, 6), st.integers(-2, 2))

# common practice, no source: the order of the signatures, from seven flats to seven sharps.
MAJOR = "Cb Gb Db Ab Eb Bb F C G D A E B F# C#"
MINOR = "Abm Ebm Bbm Fm Cm Gm Dm Am Em Bm F#m C#m G#m D#m A#m"


def test_there_are_fifteen_keys_of_each_kind() -> None:
    """In the order of their signatures; a minor key stands where its relative major does."""
    assert " ".join(map(str, MAJOR_KEYS)) == MAJOR
    assert " ".join(map(str, MINOR_KEYS)) == MINOR
    assert [key.signature for key in KEYS] == 2 * list(range(-7, 8))


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_a_scale_has_every_letter_once_and_the_accidentals_of_its_signature(key: Key) -> None:
    """Seven letters; four sharps in the signature are four sharps in the scale."""
    assert {note.step for note in key.scale} == set(range(7))
    assert sum(note.alter for note in key.scale) == key.signature


@pytest.mark.parametrize(
    ("name", "scale"),
    [
        ("C", "C D E F G A B"),
        ("E", "E F# G# A B C# D#"),
        ("Ab", "Ab Bb C Db Eb F G"),
        ("C#", "C# D# E# F# G# A# B#"),
        ("Cb", "Cb Db Eb Fb Gb Ab Bb"),
        ("Am", "A B C D E F G"),
        ("G#m", "G# A# B C# D# E F#"),
        ("Ebm", "Eb F Gb Ab Bb Cb Db"),
    ],
)
def test_scales_as_written(name: str, scale: str) -> None:
    """A few scales by hand."""
    assert " ".join(map(str, Key.parse(name).scale)) == scale


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_a_key_reads_back_as_written_and_as_said(key: Key) -> None:
    """`F#m` and `F# minor` are one key; so is its name in small letters with the mode."""
    assert Key.parse(str(key)) == Key.parse(key.title) == Key.parse(f" {key.title.lower()} ") == key


@pytest.mark.parametrize(
    ("text", "key"), [("Bb maj", "Bb"), ("amin", "Am"), ("A-", "Am"), ("CM", "C"), ("E♭", "Eb"), ("F♯m", "F#m")]
)
def test_other_spellings_of_a_key(text: str, key: str) -> None:
    """A minor key may be written A-, a sign may be the printed one."""
    assert str(Key.parse(text)) == key


@pytest.mark.parametrize(
    ("text", "near"),
    [("G#", "Ab"), ("Fb", "E"), ("Dbm", "C#m"), ("D# major", "Eb"), ("Amx", "Am"), ("C dorian", "C"), ("b", "Bm")],
)
def test_what_is_no_key_is_answered_with_the_nearest(text: str, near: str) -> None:
    """G# major would need eight sharps: Ab. A small letter alone may be either kind: both are named."""
    with pytest.raises(BadMusic) as caught:
        Key.parse(text)
    assert is_one_sentence(caught.value)
    assert near in caught.value.mend.replace("?", "").split()


@pytest.mark.parametrize("text", ["", "H", "7", "major", "#", "C|F", "Am\nG"])
def test_a_word_that_is_no_key_is_refused(text: str) -> None:
    """One sentence with examples."""
    with pytest.raises(BadMusic) as caught:
        Key.parse(text)
    assert is_one_sentence(caught.value)


def test_relatives_and_parallels() -> None:
    """A minor is C major's relative and A major's parallel."""
    a_minor = Key.parse("Am")
    assert a_minor.relative == Key.parse("C")
    assert a_minor.parallel == Key.parse("A")
    assert all(key.relative.relative == key and key.relative.signature == key.signature for key in KEYS)


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_a_key_spells_every_pitch_and_its_own_by_its_scale(key: Key) -> None:
    """All twelve have a name that sounds right; the seven of the scale have theirs."""
    assert [key.spell(pc).pitch_class for pc in range(12)] == list(range(12))
    assert all(key.spell(note.pitch_class) == note for note in key.scale)


@pytest.mark.parametrize(
    ("key", "pitch_class", "name"),
    [("C", 10, "Bb"), ("C", 6, "F#"), ("E", 10, "A#"), ("E", 2, "D"), ("F", 11, "B"), ("Am", 8, "G#"), ("Ab", 4, "Fb")],
)
def test_a_strange_pitch_is_spelled_by_where_it_leads(key: str, pitch_class: int, name: str) -> None:
    """The flat seven of C is Bb, the leading note of A minor G#, the flat six of Ab Fb."""
    assert str(Key.parse(key).spell(pitch_class)) == name


@given(NOTES, NOTES)
def test_the_interval_between_two_notes_leads_from_one_to_the_other(low: Note, high: Note) -> None:
    """Up by what lies between them is the other note, letter and all."""
    assert low.up(*interval_between(low, high)) == high


@given(NOTES)
def test_the_circle_of_fifths_goes_both_ways(note: Note) -> None:
    """A note's place on the circle names the note."""
    assert note_at(fifths(note)) == note
    assert note_at(fifths(note) + 1) == note.up(4, 7)
