"""A song performed: what is plucked stays in the hand, in the bar and under the words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given

from coach import shelf
from coach.errors import BadInput
from coach.guitar.choices import add_fingers, reachable_fingerings
from coach.guitar.grip import Hand
from coach.music.keys import Key
from coach.picking.plucks import Pluck
from coach.song.arrangement import Arrangement, BarWay, PartWay
from coach.song.chart import HOLD, SILENT, Song
from coach.song.files.song_file import parse_song
from coach.song.perform import arrangement_of, perform, sounding_key, tune_shift
from coach.song.piece import Piece, PieceBar
from tests.effort import examples
from tests.sentences import is_one_sentence
from tests.song.made_up import songs

PATTERNS = shelf.library().patterns

FERRY = """\
title = "Ferry"
key = "G"
meter = "4/4"
tempo = 90
order = ["Verse", "Verse"]
[parts.Verse]
bars = [
  { chords = "G", beats = 1, words = "the", tune = "D4" },
  { chords = "G", words = "boat", tune = "G4:4" },
  { chords = "C D" },
  { chords = "Em" },
  { chords = "G", hold = true },
]
[arrangements.plain]
pattern = "outside-in"
"""


def song_of(text: str = FERRY) -> Song:
    """The song in a text."""
    return parse_song(text, "ferry")


def played(song: Song, arrangement: Arrangement | None = None, **more: object) -> Piece:
    """The song performed with the shipped patterns and shapes."""
    return perform(song, arrangement or arrangement_of(song), PATTERNS, shelf.shapes(), **more)  # type: ignore[arg-type]


def shape_on(bar: PieceBar, pluck: Pluck) -> object:
    """The fret that the shape held at this moment gives the pluck's string."""
    shape = bar.held.at(pluck.beat).shape
    return None if shape is None else shape.fret(pluck.string)


@examples(40)
@given(songs())
def test_every_bar_is_full_and_stays_in_shape_and_hand(song: Song) -> None:
    """Any chart: the hand can hold each shape; no string and no finger twice at once; nothing outside the bar."""
    for arrangement in song.arrangements.values():
        piece = played(song, arrangement)
        assert [b.number for b in piece.bars] == list(range(len(piece.bars)))
        at = Fraction(0)
        for bar in piece.bars:
            assert bar.start == at
            at += bar.beats
            moments = [(p.beat, p.string) for p in bar.plucks]
            fingers = [(p.beat, p.finger) for p in bar.plucks]
            assert len(set(moments)) == len(moments)
            assert len(set(fingers)) == len(fingers)
            for pluck in bar.plucks:
                assert pluck.bar == bar.number
                assert 0 <= pluck.beat < bar.beats
                assert pluck.fret == shape_on(bar, pluck)
                assert pluck.midi == piece.tuning.open_midi(pluck.string) + piece.capo + pluck.fret
            for hold in bar.held.holds:
                if hold.shape is not None:
                    assert len(set(add_fingers(hold.shape).fingers) - {"."}) <= 4
        assert piece.beats == at


@examples(20)
@given(songs())
def test_the_thumb_plays_on_the_first_beat_of_every_whole_bar(song: Song) -> None:
    """Under a chord that sounds from the bar line on, its root or another bass note is there on one."""
    for bar in played(song, song.arrangements["plain"]).bars:
        whole = bar.beats == bar.meter.beats
        if whole and bar.plucks and bar.held.holds[0].chord is not None:
            assert any(p.bass and p.beat == 0 for p in bar.plucks)


@examples(20)
@given(songs())
def test_thinning_follows_the_words(song: Song) -> None:
    """Under words only the bass is left; where there are none everything sounds."""
    piece = played(song, replace(song.arrangements["plain"], early=False), sing="thumb")
    for bar in piece.bars:
        expected = tuple(p for p in bar.plucks if p.bass) if bar.words else bar.plucks
        assert bar.sounding == expected


def test_a_pick_up_takes_the_last_beat_of_the_pattern_s_bar() -> None:
    """`outside-in` has its alternate bass on four and index on the and of it."""
    bar = played(song_of()).bars[0]
    assert [(p.beat, p.finger, p.role) for p in bar.plucks] == [(0, "p", "a"), (Fraction(1, 2), "i", "-")]
    assert (bar.beats, bar.slots) == (1, 8)


def test_a_short_last_bar_takes_the_first_beats() -> None:
    """The three beats that a pick-up leaves: thumb on one, two and three."""
    song = song_of(FERRY.replace('{ chords = "Em" }', '{ chords = "Em", beats = 3 }'))
    bar = played(song).bars[3]
    assert [p.beat for p in bar.plucks if p.bass] == [0, 1, 2]


def test_a_pattern_of_two_bars_alternates_from_the_part_s_start() -> None:
    """`waltz-bass-and-chord`: root, fifth, root, fifth; the pick-up does not count, the next time begins anew."""
    text = FERRY.replace("4/4", "3/4").replace("G4:4", "G4:3").replace("outside-in", "waltz-bass-and-chord")
    piece = played(song_of(text.replace('"C D"', '"Em"').replace(", hold = true", "")))
    firsts = [next(p.role for p in bar.plucks if p.beat == 0) for bar in piece.bars if bar.part_bar]
    assert firsts == ["r", "f", "r", "f"] * 2


def test_where_two_chords_share_a_bar_the_thumb_tells_the_new_root() -> None:
    """C D with `outside-in`: on three the thumb is on D's open fourth string."""
    bar = played(song_of()).bars[2]
    assert [(p.string, p.fret, p.role) for p in bar.plucks if p.bass and p.beat == 2] == [(4, 0, "r")]


def test_a_held_bar_is_one_chord_plucked_together_and_a_silent_one_nothing() -> None:
    """Thumb and fingers at once on one; no plucks in silence."""
    bar = played(song_of()).bars[4]
    assert {p.beat for p in bar.plucks} == {0}
    assert "".join(sorted(p.finger for p in bar.plucks)) == "aimp"
    assert song_of().parts["Verse"].bars[4].way == HOLD
    silent = song_of(FERRY.replace("hold", "silent"))
    assert silent.parts["Verse"].bars[4].way == SILENT
    assert played(silent).bars[4].plucks == ()


def test_the_chart_moves_to_the_arrangement_s_key_and_the_capo_brings_it_back() -> None:
    """Shapes of D at capo 5 sound in G: the same chords to the ear, and the tune stays where it was."""
    song = song_of()
    moved = Arrangement("high", PartWay("outside-in"), key=Key.parse("D"), capo=5)
    piece = played(song, moved)
    assert [bar.held.name for bar in piece.bars[:5]] == ["D", "D", "G A", "Bm", "D"]
    assert str(sounding_key(song, moved)) == "G"
    assert (tune_shift(song, moved), str(piece.bars[1].tune[0].pitch)) == (0, "G4")


@pytest.mark.parametrize(
    ("key", "capo", "by", "first"), [("A", 0, 2, "A4"), ("C", 0, 5, "C5"), ("D", 0, -5, "D4"), ("C", 2, -5, "D4")]
)
def test_the_tune_goes_the_nearest_way(key: str, capo: int, by: int, first: str) -> None:
    """From G to A two up, to C five up, to D five down; the capo counts."""
    song = song_of()
    arrangement = Arrangement("x", PartWay("outside-in"), key=Key.parse(key), capo=capo)
    assert tune_shift(song, arrangement) == by
    assert str(played(song, arrangement).bars[1].tune[0].pitch) == first


def test_a_tune_is_spelled_as_its_new_key_spells_it() -> None:
    """B in G becomes A in F, and F# becomes E; in A flat B becomes C."""
    song = song_of(FERRY.replace("G4:4", "B4:2 F#4:2"))
    for key, notes in (("F", ["A4", "E4"]), ("Ab", ["C5", "G4"]), ("E", ["G#4", "D#4"])):
        bar = played(song, Arrangement("x", PartWay("outside-in"), key=Key.parse(key))).bars[1]
        assert [str(n.pitch) for n in bar.tune] == notes


def test_shapes_go_by_bar_then_part_then_arrangement_then_song() -> None:
    """Each level stands before the next."""
    text = FERRY + '[shapes]\nG = "320003"\n'
    assert str(played(song_of(text)).bars[1].held.holds[0].shape) == "320003"
    text += '[arrangements.plain.shapes]\nG = "320033"\n'
    assert str(played(song_of(text)).bars[1].held.holds[0].shape) == "320033"
    text += '[arrangements.plain.parts.Verse]\nshapes = { G = "3x0003" }\n'
    assert str(played(song_of(text)).bars[1].held.holds[0].shape) == "3x0003"
    text += '[[arrangements.plain.parts.Verse.bars]]\nbar = 2\nshapes = { G = "355433" }\n'
    assert [str(played(song_of(text)).bars[k].held.holds[0].shape) for k in (0, 1)] == ["3x0003", "355433"]


def test_patterns_go_by_bar_then_chord_then_part() -> None:
    """Lanes of a bar, a bar's pattern, the part's for the chord, the part's, the arrangement's for the chord."""
    song = song_of()
    lanes = BarWay(lanes=(("p", "r . r ."),), slots=4)
    way = PartWay("thumb-on-the-beat", by_chord={"D": "half-bar-plain"}, bars={1: lanes, 3: BarWay("inside-out")})
    piece = played(song, Arrangement("x", PartWay("outside-in", by_chord={"C": "outside-in"}), {"Verse": way}))
    assert [p.beat for p in piece.bars[1].plucks] == [0, 2]
    assert [p.beat for p in piece.bars[2].plucks] == [0, 1, 2, Fraction(5, 2), 3, Fraction(7, 2)]
    assert piece.bars[2].slots == 8
    whole = played(song, Arrangement("x", PartWay("thumb-on-the-beat", by_chord={"Em": "inside-out"})))
    assert piece.bars[3].plucks == whole.bars[3].plucks


def test_a_stand_in_keeps_the_shape_before_and_adds_a_note() -> None:
    """F over G's shape with F on string 1: the chord is still called F and the bass stays on G."""
    song = song_of(FERRY.replace('"Em"', '"F"') + 'stand_in = { F = "G:1@1" }\n')
    hold = played(song).bars[3].held.holds[0]
    assert (str(hold.chord), str(hold.shape)) == ("F", "320001")
    assert hold.bass is not None
    assert hold.bass.r == 6


def test_a_stand_in_that_is_another_chord_goes_by_its_name() -> None:
    """Fmaj7 for F."""
    song = song_of(FERRY.replace('"Em"', '"F"') + 'stand_in = { F = "Fmaj7" }\n')
    assert played(song).bars[3].held.name == "Fmaj7"


def test_a_hand_without_barres_gets_shapes_it_can_hold() -> None:
    """F and Bm without any finger laid flat."""
    song = song_of(FERRY.replace('"C D"', '"F Bm"'))
    hand = Hand(barres="none")
    for bar in played(song, hand=hand).bars:
        for hold in bar.held.holds:
            assert hold.shape is not None
            assert reachable_fingerings(hold.shape.frets, hand)


def test_an_arrangement_s_tempo_moves_every_part_alike() -> None:
    """The song at 90 with a part at 60, arranged for 45: the part goes at 30."""
    song = song_of(FERRY.replace("[parts.Verse]", "[parts.Verse]\ntempo = 60"))
    slow = replace(arrangement_of(song), tempo=Fraction(45))
    assert {bar.bpm for bar in played(song, slow).bars} == {30}


def test_parts_can_be_played_alone() -> None:
    """Only what is asked for, each time counted."""
    piece = played(song_of(), parts=["Verse"])
    assert (len(piece.bars), piece.order) == (5, ("Verse",))
    assert [bar.time for bar in played(song_of()).bars] == [0] * 5 + [1] * 5


IN = PartWay("outside-in")


@pytest.mark.parametrize(
    ("arrangement", "says"),
    [
        (Arrangement("x", PartWay("outside-inn")), "there is no pattern 'outside-inn'; did you mean outside-in?"),
        (Arrangement("x", PartWay("waltz-arpeggio")), "bar 1: it is in 4/4 and the pattern waltz-arpeggio in 3/4"),
        (Arrangement("x", IN, key=Key.parse("Em")), "stay in a major key"),
        (Arrangement("x", IN, shift=1), "a tune moved by 1 does not fit chords in G; shift = -12 or 0 fits"),
        (Arrangement("x", PartWay("outside-in", stand_in={"Em": "G:1@15"})), "which this hand cannot hold"),
    ],
)
def test_what_does_not_fit_is_one_sentence(arrangement: Arrangement, says: str) -> None:
    """It names the part and bar, and what would fit."""
    with pytest.raises(BadInput) as caught:
        played(song_of(), arrangement)
    assert says in str(caught.value)
    assert is_one_sentence(caught.value)


def test_a_part_or_arrangement_that_is_not_there_gets_the_nearest_name() -> None:
    """A slip in a name."""
    with pytest.raises(BadInput, match="did you mean Verse"):
        played(song_of(), parts=["Vrese"])
    with pytest.raises(BadInput, match="did you mean plain"):
        arrangement_of(song_of(), "plan")
    with pytest.raises(BadInput, match="coach song arrange"):
        arrangement_of(replace(song_of(), arrangements={}))
