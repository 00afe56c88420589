"""Chords, words and tune of one bar as a line of text, there and back."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given

from coach.errors import BadInput
from coach.music.meter import METERS
from coach.song.chart import ChartBar
from coach.song.files.bar_text import chords_text, read_chords, read_tune, read_words, tune_text, where_sung, words_text
from tests.sentences import is_one_sentence
from tests.song.made_up import bars

FOUR = Fraction(4)


@given(bars(METERS["4/4"]))
def test_a_bar_reads_back_as_written(bar: ChartBar) -> None:
    """Any chords, tune and words, written and read, are the same."""
    assert read_chords(chords_text(bar.chords, FOUR), FOUR) == bar.chords
    assert read_tune(tune_text(bar.tune, FOUR), FOUR)[0] == bar.tune
    assert read_words(words_text(bar.words, FOUR, bar.tune), FOUR, bar.tune)[0] == bar.words


def test_chords_share_the_bar_or_last_as_long_as_they_say() -> None:
    """Three in four beats begin at 0, 4/3, 8/3; `C:3 D` leaves D the last beat."""
    assert [b for b, _ in read_chords("C G N", FOUR)] == [0, Fraction(4, 3), Fraction(8, 3)]
    assert [(b, str(c)) for b, c in read_chords("C:3 D", FOUR)] == [(0, "C"), (3, "D")]
    assert [b for b, _ in read_chords("C:1 F G", FOUR)] == [0, 1, Fraction(5, 2)]


def test_syllables_stand_on_their_beats() -> None:
    """The contract's own example: salt on one, win- on two, dow on three."""
    words, _ = read_words("salt on|the win-|dow", FOUR)
    assert [(w.beat, w.text) for w in words] == [(0, "salt on"), (1, "the win-"), (2, "dow")]
    assert [(w.beat, w.text) for w in read_words("first words of the", FOUR)[0]] == [(0, "first words of the")]
    assert [(w.beat, w.text) for w in read_words("|late||on", FOUR)[0]] == [(1, "late"), (3, "on")]


def test_with_a_tune_each_word_finds_its_note() -> None:
    """Two eighths take two words; a line alone is a note on which the syllable before goes on."""
    tune, _ = read_tune("D4:1/2 E4:1/2 G4:1/2 A4:1/2 B4:2", FOUR)
    words, _ = read_words("salt on|_ the|win-", FOUR, tune)
    assert [str(w.beat) for w in words] == ["0", "1/2", "3/2", "2"]
    assert [w.text for w in words] == ["salt", "on", "the", "win-"]
    assert where_sung(words, tune) == ()
    assert [w.text for w in where_sung(read_words("a|b|c|d", FOUR)[0], tune)] == ["d"]


def test_a_lone_comma_is_a_breath() -> None:
    """After a note of the tune, after a beat's words, or at the end of the bar."""
    assert read_tune("D4:2 , E4:2", FOUR)[1] == (2,)
    assert read_words("salt|on ,|the|sea", FOUR)[1] == (2,)
    assert read_words("salt, on the sea ,", FOUR)[1] == (4,)


def test_notes_tie_over() -> None:
    """`+` goes on with the note before, at the start of a bar with that of the bar before."""
    notes, _ = read_tune("+D4 D4 +D4 -", FOUR)
    assert [n.tied for n in notes] == [True, False, True]


@pytest.mark.parametrize(
    ("read", "text", "says"),
    [
        (read_chords, "", "there is no chord"),
        (read_chords, "C H", "'H' is not a chord"),
        (read_chords, "C:3 D:2", "last 5 beats and the bar 4"),
        (read_chords, "C:4 D", "last 4 beats and the bar 4"),
        (read_chords, "C:2", "last 2 beats and the bar 4"),
        (read_chords, "C:x D", "'x' is not a number of beats"),
        (read_chords, "C:1/0 D", "'1/0' is not a number of beats"),
        (read_chords, "C:1/97 D", "cannot be counted"),
        (read_chords, " ".join(["C"] * 17), "17 chords are too many"),
        (read_tune, "D4 E4", "the tune has 2 beats, the bar's 4"),
        (read_tune, "D4:3 E4:2", "the tune has more than the bar's 4"),
        (read_tune, "D4:2 H4:2", "'H4' is not a pitch"),
        (read_tune, "D4:2 +E4:2", "goes on with a note that does not sound"),
        (read_tune, "D4:0 E4:4", "0 of a beat cannot be counted"),
        (read_words, "a|b|c|d|e", "words for 5 beats and the bar has 4"),
        (read_words, "a , b|c", "a breath (a comma alone) stands between words"),
        (read_words, "a" * 501, "too long"),
    ],
)
def test_a_slip_is_one_sentence(read: object, text: str, says: str) -> None:
    """What is wrong and how to mend it."""
    with pytest.raises(BadInput) as caught:
        read(text, FOUR)  # type: ignore[operator]
    assert says in str(caught.value)
    assert is_one_sentence(caught.value)
