"""What the player says of an arrangement holds where it is said, and stays when a new one is proposed."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach import shelf
from coach.guitar.grip import Hand
from coach.guitar.key_finder import find_keys
from coach.guitar.search import find_grips
from coach.guitar.shape import Shape
from coach.guitar.standins import find_standins
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.song.arrangement import Arrangement, BarWay, PartWay, pattern_under
from coach.song.arranging.arranger import propose
from coach.song.arranging.overrides import (
    ALL,
    BAR,
    CHORD,
    PART,
    SCOPES,
    can_be_written,
    carried,
    freed,
    said_by_hand,
    with_pattern,
    with_shape,
    with_stand_in,
)
from coach.song.chart import Song
from coach.song.files.edit_song import set_arrangement
from coach.song.files.song_file import parse_song
from coach.song.perform import perform
from tests.effort import examples

PATTERNS, BOOK = shelf.library().patterns, shelf.shapes()
TEXT = """
title = "Ropes and lanterns"
key = "C"
meter = "4/4"
tempo = 90
order = ["Verse", "Chorus", "Verse"]
[parts.Verse]
bars = [ { chords = "C" }, { chords = "F" }, { chords = "C" }, { chords = "G" } ]
[parts.Chorus]
bars = [ { chords = "F" }, { chords = "C G" } ]
[arrangements.plain]
pattern = "outside-in"
"""
SONG = parse_song(TEXT, "ropes", own=True)
PLAIN = SONG.arrangements["plain"]
DEEDS = st.tuples(st.sampled_from("psxf"), st.sampled_from(SCOPES), st.integers(0, 5), st.integers(0, 9))
BARRE, SMALL = Shape.parse("133211"), Shape.parse("xx3211")


def proposed(key: str = "C", tier: str = "plain", name: str = "plain") -> Arrangement:
    """A proposal with shapes of this key and the lowest capo that the key finder has for it."""
    bars = [[c for _, c in bar.chords] for part in SONG.order for bar in SONG.parts[part].bars]
    places = [place for place in find_keys(bars, SONG.key) if place.shape_key == Key.parse(key)]
    place = min(places, key=lambda s: s.capo)
    return propose(SONG, PATTERNS, BOOK, tier=tier, name=name, place=place)


def picked(arrangement: Arrangement, song: Song = SONG) -> list[tuple[str, int, str]]:
    """(part, bar, pattern under its first chord) of each bar."""
    return [
        (name, number, pattern_under(arrangement, name, number, str(bar.chords[0][1])))
        for name, part in song.parts.items()
        for number, bar in enumerate(part.bars)
    ]


def held(arrangement: Arrangement, song: Song = SONG) -> dict[tuple[str, int], tuple[str, ...]]:
    """(part, bar) -> the shapes the hand holds in it, as it is played."""
    piece = perform(song, arrangement, PATTERNS, BOOK)
    return {(bar.part, bar.part_bar): tuple(str(h.shape) for h in bar.held.holds) for bar in piece.bars}


@pytest.mark.parametrize(
    ("scope", "bars"),
    [
        (BAR, {("Verse", 0)}),
        (CHORD, {("Verse", 0), ("Verse", 2)}),
        (PART, {("Verse", 0), ("Verse", 1), ("Verse", 2), ("Verse", 3)}),
        (ALL, {(name, number) for name, number, _ in picked(PLAIN)}),
    ],
)
def test_a_pattern_holds_where_it_is_said(scope: str, bars: set[tuple[str, int]]) -> None:
    """For this bar, for C in the verse, for the verse, for the song: those bars and no others play it."""
    changed = with_pattern(PLAIN, scope, "Verse", 0, "C", "pinch-on-one")
    assert {(name, n) for name, n, pattern in picked(changed) if pattern == "pinch-on-one"} == bars


@pytest.mark.parametrize(
    ("scope", "bars"),
    [
        (BAR, {("Verse", 1)}),
        (CHORD, {("Verse", 1)}),
        (PART, {("Verse", 1)}),
        (ALL, {("Verse", 1), ("Chorus", 0)}),
    ],
)
def test_a_shape_holds_where_it_is_said(scope: str, bars: set[tuple[str, int]]) -> None:
    """F as a full barre: in this bar, or in the part, or wherever F is played."""
    before = held(with_shape(PLAIN, ALL, "Verse", 1, "F", SMALL))
    changed = held(with_shape(with_shape(PLAIN, ALL, "Verse", 1, "F", SMALL), scope, "Verse", 1, "F", BARRE))
    assert {place for place, shapes in changed.items() if shapes != before[place]} == bars
    assert all(changed[place][0].startswith("133211") for place in bars)


def test_a_wider_word_about_a_shape_lets_go_of_narrower_ones() -> None:
    """What was said of F in one bar and in one part gives way to what is said of F throughout."""
    way = with_shape(PLAIN, BAR, "Verse", 1, "F", BARRE)
    way = with_shape(way, PART, "Chorus", 0, "F", BARRE)
    shapes = held(with_shape(way, ALL, "Verse", 1, "F", SMALL))
    assert {shapes["Verse", 1][0][:6], shapes["Chorus", 0][0][:6]} == {"xx3211"}


def test_a_stand_in_is_played_in_its_part_and_goes_again() -> None:
    """Something easier for F sounds in the chorus alone; taken back, the chorus is as before."""
    standin = next(s for s in find_standins(Chord.parse("F"), Hand()) if not s.recipe and str(s.grip.chord) != "F")
    eased = with_stand_in(PLAIN, PART, "Chorus", "F", standin.grip)
    before, after = held(PLAIN), held(eased)
    assert after["Chorus", 0][0].startswith(str(standin.grip.shape)[:6])
    assert after["Verse", 1] == before["Verse", 1]
    assert held(freed(eased, CHORD, "Chorus", 0, "F")) == before


def test_who_said_it_is_told_with_the_narrowest_place() -> None:
    """Bar before chord before part before the whole; nothing where nothing was said."""
    assert said_by_hand(PLAIN, "Verse", 1, "F") == ""
    way = with_shape(PLAIN, ALL, "Verse", 1, "F", BARRE)
    assert said_by_hand(way, "Chorus", 0, "F") == ALL
    way = with_pattern(way, PART, "Verse", 1, "F", "pinch-on-one")
    assert said_by_hand(way, "Verse", 1, "F") == PART
    way = with_pattern(way, CHORD, "Verse", 1, "F", "outside-in")
    assert said_by_hand(way, "Verse", 1, "F") == CHORD
    way = with_pattern(way, BAR, "Verse", 1, "F", "outside-in")
    assert said_by_hand(way, "Verse", 1, "F") == BAR


def test_a_new_proposal_leaves_what_was_chosen() -> None:
    """A bar's pattern, a part's pattern, a shape for the whole song and the singing layer outlast a proposal."""
    first = proposed()
    mine = with_pattern(first, BAR, "Verse", 3, "G", "pinch-on-one")
    mine = with_pattern(mine, PART, "Chorus", 0, "F", "pinch-on-three")
    mine = replace(with_shape(mine, ALL, "Verse", 1, "F", BARRE), singing="pinches", early=True)
    again = carried(mine, proposed(tier="full"), SONG.key)
    assert pattern_under(again, "Verse", 3, "G") == "pinch-on-one"
    assert pattern_under(again, "Chorus", 0, "F") == "pinch-on-three"
    assert held(again)["Verse", 1][0].startswith("133211")
    assert (again.singing, again.early) == ("pinches", True)
    assert pattern_under(again, "Verse", 0, "C") != pattern_under(first, "Verse", 0, "C")  # what was not chosen is new


def test_a_proposal_is_not_taken_for_the_players_word() -> None:
    """Carried over to the same proposal made again, an untouched one is that proposal."""
    first = propose(SONG, PATTERNS, BOOK)
    assert carried(first, propose(SONG, PATTERNS, BOOK), SONG.key) == first


def test_in_another_key_patterns_go_by_the_new_names() -> None:
    """C and F in C major are G and C in G major; the shapes of the old chords fall."""
    mine = with_pattern(proposed(), CHORD, "Verse", 1, "F", "pinch-on-one")
    mine = with_shape(mine, ALL, "Verse", 1, "F", BARRE)
    moved = carried(mine, proposed("G"), SONG.key)
    assert moved.key == Key.parse("G")
    assert pattern_under(moved, "Verse", 1, "C") == "pinch-on-one"
    assert "F" not in moved.way.shapes
    perform(SONG, moved, PATTERNS, BOOK)


@examples(25)
@given(st.lists(DEEDS, max_size=8))
def test_whatever_is_chosen_is_kept_in_the_file_and_can_be_played(deeds: list[tuple[str, str, int, int]]) -> None:
    """Any row of choices reads back from the song's file as it is, and each bar of it is exactly full."""
    places = [(name, n, str(bar.chords[-1][1])) for name, p in SONG.parts.items() for n, bar in enumerate(p.bars)]
    patterns = [p.id for p in PATTERNS.values() if p.meter == SONG.meter]
    way = PLAIN
    for deed, scope, at, number in deeds:
        part, bar, chord = places[at % len(places)]
        if deed == "p":
            way = with_pattern(way, scope, part, bar, chord, patterns[number % len(patterns)])
        elif deed == "s":
            options = [grip for grip in find_grips(Chord.parse(chord), Hand(), limit=10) if can_be_written(grip.shape)]
            way = with_shape(way, scope, part, bar, chord, options[number % len(options)].shape)
        elif deed == "x":
            easier = find_standins(Chord.parse(chord), Hand())
            usable = [s for s in easier if not s.recipe and can_be_written(s.grip.shape)]
            way = with_stand_in(way, scope, part, chord, usable[number % len(usable)].grip) if usable else way
        else:
            way = freed(way, scope, part, bar, chord)
    again = parse_song(set_arrangement(TEXT, way), "ropes", own=True).arrangements["plain"]
    piece = perform(SONG, again, PATTERNS, BOOK)
    assert [bar.plucks for bar in piece.bars] == [bar.plucks for bar in perform(SONG, way, PATTERNS, BOOK).bars]
    assert piece.beats == Fraction(40)


def test_a_pattern_in_place_of_a_tune_leaves_no_chord_silent() -> None:
    """A pick-up plucked over open strings is given a pattern by hand: where there is no chord nothing is picked."""
    tune = BarWay(lanes=(("m", "2! ."),), slots=2, shapes={"N": Shape.parse("000000"), "G": Shape.parse("320003")})
    arrangement = Arrangement("plain", PartWay("outside-in"), {"Verse": PartWay(bars={0: tune})})
    after = with_pattern(arrangement, BAR, "Verse", 0, "G", "inside-out")
    assert list(after.parts["Verse"].bars[0].shapes) == ["G"]
