"""Re-keying: there and back, and what players call the result."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.errors import BadMusic
from coach.music.chords import Chord
from coach.music.keys import MAJOR_KEYS, MINOR_KEYS, Key
from coach.music.keysheet import make_keysheet
from coach.music.notes import SEMITONES, Note
from coach.music.numerals import numerals
from coach.music.qualities import QUALITIES
from coach.music.rekey import capo_to_match, plain_chord, plain_note, rekey
from tests.sentences import is_one_sentence

NOTES = st.builds(Note, st.integers(0, 6), st.integers(-1, 1))
CHORDS = st.builds(Chord, NOTES, st.sampled_from(list(QUALITIES)), st.one_of(st.none(), NOTES))
PROGRESSIONS = st.lists(st.one_of(CHORDS, st.none()), min_size=1, max_size=8)
PAIRS = [*itertools.product(MAJOR_KEYS, repeat=2), *itertools.product(MINOR_KEYS, repeat=2)]


@given(PROGRESSIONS, st.sampled_from([MAJOR_KEYS, MINOR_KEYS]))
@settings(max_examples=200)
def test_there_and_back_is_where_it_began(chords: list[Chord | None], keys: tuple[Key, ...]) -> None:
    """200 random progressions of any chords with any bass, through all 15 x 15 pairs of keys: letter for letter."""
    for old, new in itertools.product(keys, repeat=2):
        moved = rekey(chords, old, new)
        assert rekey(moved, new, old) == tuple(chords)


@pytest.mark.parametrize(("old", "new"), PAIRS, ids=lambda key: str(key))
def test_the_numerals_of_a_key_s_chords_stay_when_it_moves(old: Key, new: Key) -> None:
    """What a progression is does not change with the key it is in; the sheet of the one becomes that of the other."""
    chords = [entry.chord for _, entries in make_keysheet(old).groups for entry in entries]
    moved = rekey(chords, old, new)
    assert numerals(moved, new) == numerals(chords, old)
    assert list(moved) == [entry.chord for _, entries in make_keysheet(new).groups for entry in entries]


@given(PROGRESSIONS, st.sampled_from(PAIRS))
def test_numerals_are_the_same_before_and_after(chords: list[Chord | None], pair: tuple[Key, Key]) -> None:
    """Also for chords that no key has; and what comes out can be read in again, however far the keys lie apart."""
    old, new = pair
    moved = rekey(chords, old, new)
    assert numerals(moved, new) == numerals(chords, old)
    assert [c and Chord.parse(str(c)) for c in moved] == list(moved)


@given(CHORDS, st.sampled_from(PAIRS))
def test_the_capo_makes_the_new_shapes_sound_in_the_old_key(chord: Chord, pair: tuple[Key, Key]) -> None:
    """Every tone of the moved chord, raised by the capo, is the tone it was."""
    old, new = pair
    (moved,) = rekey([chord], old, new)
    assert moved is not None
    capo = capo_to_match(old, new)
    assert [(t.pitch_class + capo) % 12 for t in moved.tones] == [t.pitch_class for t in chord.tones]
    assert (moved.lowest.pitch_class + capo) % 12 == chord.lowest.pitch_class


@given(CHORDS, st.sampled_from(PAIRS))
def test_players_names_change_the_name_and_not_the_sound(chord: Chord, pair: tuple[Key, Key]) -> None:
    """After the step no root or bass is Fb, Cb, E#, B# or doubly altered, and doing it twice changes nothing more."""
    (moved,) = rekey([chord], *pair)
    assert moved is not None
    plain = plain_chord(moved)
    assert [t.pitch_class for t in plain.tones] == [t.pitch_class for t in moved.tones]
    assert plain.lowest.pitch_class == moved.lowest.pitch_class
    for note in (plain.root, plain.lowest):
        assert abs(note.alter) <= 1
        assert note.alter == 0 or note.pitch_class not in SEMITONES
    assert plain_chord(plain) == plain


@pytest.mark.parametrize(
    ("chord", "plain"),
    [
        ("Fb", "E"), ("Cbm", "Bm"), ("B#", "C"), ("E#m7", "Fm7"), ("Ebb", "D"), ("F##dim", "Gdim"), ("Fb/Ab", "E/G#"),
        ("Ab", "Ab"), ("Db/F", "Db/F"), ("C#/E#", "C#/F"), ("F#", "F#"), ("Fbb", "Eb"), ("B##", "C#"),
    ],
)  # fmt: skip
def test_what_players_call_it(chord: str, plain: str) -> None:
    """Fb is E, and its first inversion E/G#; a chord with a usual name keeps it."""
    assert str(plain_chord(Chord.parse(chord))) == plain


def test_a_plain_name_leans_the_way_its_signs_do() -> None:
    """Flats become a flat, sharps a sharp: Cbb is Bb, E## is F#."""
    assert [str(plain_note(Note.parse(n))) for n in ("Cbb", "E##", "Bbb", "G")] == ["Bb", "F#", "A", "G"]


def test_no_chord_stays_none() -> None:
    """N has no key."""
    assert rekey([None], Key.parse("C"), Key.parse("D")) == (None,)


def test_major_does_not_become_minor() -> None:
    """Moving from C to A minor is refused; A is named."""
    with pytest.raises(BadMusic, match="did you mean A ") as caught:
        rekey([Chord.parse("C")], Key.parse("C"), Key.parse("Am"))
    assert is_one_sentence(caught.value)
