"""What is typed into a chart, as values: read at once, in its place, with the sentence that mends it."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.screens.songs.chart_text import (
    ADD,
    BAR,
    HEAD,
    PART,
    Place,
    bars_typed,
    cell_text,
    line_of,
    places_of,
    problem_with,
    read_order,
    words_typed,
)
from coach.screens.songs.chart_typing import bars_or_words, copied, head_or_part, new_song, with_part
from coach.song.files.song_file import check_text, parse_song
from tests.screens.made_songs import LANTERN
from tests.sentences import is_one_sentence

SHEET = tomllib.loads(LANTERN)


def test_a_typed_line_of_chords_is_bars() -> None:
    """`C | F G | C` is three bars, with bar lines at the ends or without."""
    assert bars_typed("C | F G | C") == ["C", "F G", "C"]
    assert bars_typed("| C | F G | C |") == ["C", "F G", "C"]
    with pytest.raises(BadInput):
        bars_typed("C | | G")


def test_a_slash_goes_on_to_the_next_bar() -> None:
    """Words of several bars on one line; beats are parted inside each."""
    assert words_typed("The lan-|tern's / on the|land- / ing") == ["The lan-|tern's", "on the|land-", "ing"]


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("Verse, Chorus, Verse", ["Verse", "Chorus", "Verse"]),
        ("Verse x2, Chorus", ["Verse", "Verse", "Chorus"]),
        ("verse × 2", ["Verse", "Verse"]),
        ("Box x2", ["Box x2"]),
    ],
)
def test_an_order_may_count_its_repeats(text: str, order: list[str]) -> None:
    """`Verse x2` is twice, unless a part is called that; case does not matter."""
    assert read_order(text, ["Verse", "Chorus", "Box x2"]) == order


@pytest.mark.parametrize("text", ["", "Bridge", "Verse x0", ","])
def test_an_order_of_nothing_known_is_refused(text: str) -> None:
    """Unknown parts and empty orders are told in one sentence."""
    with pytest.raises(BadInput) as error:
        read_order(text, ["Verse"])
    assert is_one_sentence(error.value)


@pytest.mark.parametrize(
    ("place", "cell", "text"),
    [
        (Place(HEAD, "title"), "value", " "),
        (Place(HEAD, "key"), "value", "H"),
        (Place(HEAD, "meter"), "value", "4/5"),
        (Place(HEAD, "tempo"), "value", "fast"),
        (Place(HEAD, "order"), "value", "Nowhere"),
        (Place(PART, "Verse"), "name", ""),
        (Place(PART, "Verse"), "meter", "x"),
        (Place(BAR, "Verse", 1), "chords", "G Xq"),
        (Place(BAR, "Verse", 1), "chords", "G:5"),
        (Place(BAR, "Verse", 1), "words", "a|b|c|d|e"),
        (Place(BAR, "Verse", 0), "words", "a|b"),  # the pick-up has one beat
        (Place(BAR, "Verse", 1), "tune", "G4 G4"),
        (Place(BAR, "Chorus", 0), "beats", "4"),  # the chorus is in three
        (Place(BAR, "Verse", 1), "beats", "none"),
        (Place(ADD, "Chorus"), "words", "a|b|c|d"),
    ],
)
def test_what_cannot_be_read_is_told_in_its_place(place: Place, cell: str, text: str) -> None:
    """Each mistake has one sentence; what stands there already has none."""
    said = problem_with(SHEET, place, cell, text)
    assert said.endswith((".", "?"))
    assert ";" in said  # what is wrong; how to mend it
    assert problem_with(SHEET, place, cell, cell_text(SHEET, place, cell)) == ""


def test_every_cell_of_a_chart_shows_what_the_file_says() -> None:
    """Head, parts, bars and the lines for new bars, in the file's order; each cell reads as it was written."""
    places = places_of(SHEET)
    assert [p.part for p in places if p.kind == PART] == ["Verse", "Turn", "Chorus"]
    assert cell_text(SHEET, Place(BAR, "Verse", 2), "words") == "ing ,"
    assert cell_text(SHEET, Place(PART, "Chorus"), "meter") == "3/4"
    assert cell_text(SHEET, Place(HEAD, "order"), "value") == "Verse, Turn, Verse, Chorus"


@given(st.integers(30, 220), st.sampled_from(places_of(SHEET)), st.text(max_size=30), st.integers(0, 3))
def test_a_line_keeps_to_its_page(width: int, place: Place, typed: str, column: int) -> None:
    """Whatever is typed, a line is one line."""
    cell = place.cells[column % len(place.cells)]
    shown = line_of(SHEET, place, width, cell=cell, typed=" ".join(typed.split()))
    assert "\n" not in shown.plain


def test_what_could_not_be_read_stays_in_its_place_with_a_mark() -> None:
    """Not by colour alone: a sign of exclamation stands before it."""
    assert "! G Xq" in line_of(SHEET, Place(BAR, "Verse", 1), 80, wrong={"chords": "G Xq"}).plain


# As changes of the file ---------------------------------------------------------------------------


def test_several_bars_in_place_of_one() -> None:
    """The first in its place, the others after it; what an arrangement says of later bars goes with them."""
    text = LANTERN + '[arrangements.early.parts.Turn]\nbars = [ { bar = 2, pattern = "pinch-on-one" } ]\n'
    change, count = bars_or_words(Place(BAR, "Turn", 0), "chords", "C | Am | F")
    song = parse_song(change(text), "x")
    assert count == 3
    assert [str(bar.chords[0][1]) for bar in song.parts["Turn"].bars] == ["C", "Am", "F", "D"]
    assert song.arrangements["early"].parts["Turn"].bars[3].pattern == "pinch-on-one"


def test_new_bars_go_to_the_end() -> None:
    """On the line for new bars chords are added, and words without a bar make one that goes on with the chord."""
    chords, _ = bars_or_words(Place(ADD, "Turn"), "chords", "Em | Am")
    words, _ = bars_or_words(Place(BAR, "Turn", 3), "words", "slow / home")
    song = parse_song(words(chords(LANTERN)), "x")
    assert [str(bar.chords[0][1]) for bar in song.parts["Turn"].bars] == ["C", "D", "Em", "Am", "Am"]
    assert [[w.text for w in bar.words] for bar in song.parts["Turn"].bars[3:]] == [["slow"], ["home"]]


def test_a_part_is_renamed_everywhere() -> None:
    """In the order and in the arrangements too."""
    change, place = head_or_part(SHEET, Place(PART, "Chorus"), "name", "Refrain")
    song = parse_song(change(LANTERN), "x")
    assert place == Place(PART, "Refrain")
    assert song.order[-1] == "Refrain"
    assert "Refrain" in song.arrangements["plain"].parts


def test_a_part_with_the_same_bars_has_no_words() -> None:
    """Chords, tune, meter and tempo of the chorus, to be given other words."""
    song = parse_song(copied(SHEET, "Chorus", "Last chorus")(LANTERN), "x")
    old, new = song.parts["Chorus"], song.parts["Last chorus"]
    assert [bar.chords for bar in new.bars] == [bar.chords for bar in old.bars]
    assert [bar.tune for bar in new.bars] == [bar.tune for bar in old.bars]
    assert (new.meter, new.tempo) == (old.meter, old.tempo)
    assert not any(bar.words for bar in new.bars)


@pytest.mark.parametrize(("key", "chord"), [("G", "G"), ("E minor", "Em"), ("Bb", "Bb")])
def test_a_new_song_has_one_bar_of_its_own_chord(key: str, chord: str) -> None:
    """So that there is something to type over, and a new part begins alike."""
    text, stem = new_song("Rope's end, at last", key, "6/8", "66.5")
    song = parse_song(with_part(text, name="Chorus"), stem)
    assert [str(part.bars[0].chords[0][1]) for part in song.parts.values()] == [chord, chord]
    assert [len(part.bars) for part in song.parts.values()] == [1, 1]
    assert (str(song.meter), float(song.tempo)) == ("6/8", 66.5)
    assert "/" not in stem


@given(
    st.sampled_from([p for p in places_of(SHEET) if p.kind in (BAR, ADD)]),
    st.sampled_from(["chords", "words"]),
    st.text(alphabet="CDGm7 |/-,aeo:12", max_size=24),
)
def test_what_has_no_problem_can_be_saved(place: Place, cell: str, text: str) -> None:
    """What the page finds in order makes a song file without problems; nothing else comes near the file."""
    if problem_with(SHEET, place, cell, text) or (cell == "chords" and not text.strip()):
        return
    change, _ = bars_or_words(place, cell, text)
    assert check_text(change(LANTERN), "x").problems == ()
