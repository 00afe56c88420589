"""The words as one sings from them: lines, the syllable of now, the comma where one breathes, large letters."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.screens.stage.large_letters import HEIGHT, large, large_width
from coach.screens.stage.lyrics import Lyrics, Reading, Syllable, fitted, line_text, phrases
from coach.screens.stage.words_view import LARGE_ROWS, LARGEST_ROWS, SMALL_ROWS, words_rows
from tests.screens.made_songs import performed

LINES = phrases(performed().bars)
WORDS = st.lists(st.text("abcdefgh,", min_size=1, max_size=12), min_size=1, max_size=30)


def cells(syllable: Syllable) -> int:
    """As wide as it is written, with a blank after it."""
    return len(syllable.text) + 1


def text(row: tuple[tuple[str, str], ...]) -> str:
    """A row without its kinds."""
    return "".join(part for part, _ in row)


def test_a_line_ends_where_one_breathes_and_where_no_words_are() -> None:
    """The verse breathes after `landing`, the chorus is another part: three lines, the verse's twice."""
    assert [line_text(line) for line in LINES] == [
        "The lantern's on the landing",
        "the boat is still",
        "The lantern's on the landing",
        "the boat is still",
        "Ring me away home",
    ]
    assert [line[-1].breath for line in LINES] == [True, False, True, False, False]


def test_syllables_fall_on_their_beats() -> None:
    """After a pick-up of one beat: lan-tern's on beats 1 and 2, on the on 3 and 3 and a half, land-ing on 4 and 5."""
    assert [(s.beat, s.text, s.goes_on) for s in LINES[0]] == [
        (0.0, "The", False),
        (1.0, "lan", True),
        (2.0, "tern's", False),
        (3.0, "on", False),
        (3.5, "the", False),
        (4.0, "land", True),
        (5.0, "ing", False),
    ]


def test_the_mark_is_on_the_syllable_that_was_begun_last() -> None:
    """On every syllable's beat it is that one, just before it the one before."""
    lyrics = Lyrics(LINES)
    for number, line in enumerate(LINES):
        for place, syllable in enumerate(line):
            assert lyrics.at(syllable.bar, syllable.beat) == Reading(number, place)
        for place, (before, after) in enumerate(pairwise(line)):
            assert lyrics.at(before.bar, after.beat - 0.01) == Reading(number, place)


def test_the_next_line_comes_before_it_is_sung() -> None:
    """`landing` begins on beat 5 and the next line on 10: from beat 7 on the next line stands ready, a bar ahead."""
    lyrics = Lyrics(LINES)
    assert lyrics.at(2, 6.9).line == 0
    assert lyrics.at(2, 7.0) == Reading(1, -1, 1)
    assert lyrics.at(3, 9.5) == Reading(1, -1, 0)
    assert lyrics.at(6, 22.0) == Reading(2, -1, 2)
    assert lyrics.at(-1, -1.0) == Reading(0, -1, 1)


def test_after_the_last_line_the_first_comes_again() -> None:
    """It goes round: what follows the chorus is the verse."""
    assert Lyrics(LINES).following(4)[0] == "The lantern's on the landing"


def test_two_halves_are_broken_where_the_comma_is() -> None:
    """What does not fit one line becomes two, not three, and the comma in its middle draws the break."""
    words = [*("Last", "boat", "over,"), *("wait", "a", "while", "for", "me,")]
    line = tuple(Syllable(float(k), k, word) for k, word in enumerate(words))
    assert [line_text(part) for part in fitted([line], 30, cells)] == ["Last boat over,", "wait a while for me,"]


@given(WORDS, st.integers(13, 60))
def test_a_long_line_is_parted_between_words_and_nothing_is_lost(words: list[str], width: int) -> None:
    """Parts fit the width, their words are the line's in order, and no part is a lone word that would have fitted."""
    line = tuple(Syllable(float(k), k, word) for k, word in enumerate(words))
    parts = fitted([line], width, cells)
    assert tuple(s for part in parts for s in part) == line
    assert all(len(line_text(part)) <= width for part in parts)
    if len(line_text(line)) < width:
        assert len(parts) == 1


def test_small_words_point_at_the_syllable_of_now() -> None:
    """Two rows: the pointer takes the cell before the syllable, so no letter moves as it goes on."""
    lyrics = Lyrics(LINES)
    first, second = words_rows(lyrics, Reading(0, 1), 80, SMALL_ROWS)
    assert text(first) == " The▸lan-tern's on the land-ing’"
    assert text(second).startswith(" then the boat is still / ")
    assert text(words_rows(lyrics, Reading(0, 6), 80, SMALL_ROWS)[0]) == " The lan-tern's on the land▸ing’"
    assert dict(first)["lan"] == "now"


@pytest.mark.parametrize("height", [1, SMALL_ROWS, LARGE_ROWS, LARGEST_ROWS])
@pytest.mark.parametrize("width", [40, 80, 160])
def test_no_row_of_words_is_wider_than_the_view(width: int, height: int) -> None:
    """In any height and at any place of the song."""
    lyrics = Lyrics(fitted(LINES, width - 2, cells))
    for number, line in enumerate(lyrics.lines):
        for place in range(-1, len(line)):
            rows = words_rows(lyrics, Reading(number, place), width, height)
            assert len(rows) == height
            assert all(len(text(row)) <= width for row in rows)


def test_large_letters_have_a_bar_under_the_syllable_of_now() -> None:
    """Seen without colour: the bar begins where the syllable's letters begin and is as long as they are."""
    rows = words_rows(Lyrics(LINES), Reading(0, 3), 160, LARGE_ROWS)
    before = large_width("The lantern's ")
    assert text(rows[HEIGHT]).rstrip() == " " * (1 + before) + "▀" * (large_width("on") - 1)
    assert "breathe" not in text(rows[HEIGHT])
    assert "breathe" in text(words_rows(Lyrics(LINES), Reading(0, 5), 160, LARGE_ROWS)[HEIGHT])


def test_every_letter_has_a_shape_of_its_own() -> None:
    """A to Z and the digits: 36 pictures, no two alike, each three rows of one width."""
    pictures = {large(char) for char in "ABCDEFGHIJKLMNPQRSTUVWXYZ0123456789"}
    assert len(pictures) == 35
    assert all(len({len(row) for row in picture}) == 1 and len(picture) == HEIGHT for picture in pictures)


def test_letters_of_other_languages_are_drawn_bare() -> None:
    """é is drawn as E, ü as U, a typographic apostrophe as the plain one; what has no picture is a small square."""
    assert large("é’ü") == large("E'U")
    assert large("☃")[1].strip() != ""
