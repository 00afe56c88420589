"""A pattern realised on shapes: laws over everything shipped, and facts on single chords."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach import places
from coach.errors import BadShape
from coach.guitar.bass import bass_of
from coach.guitar.grip import Hand
from coach.guitar.open_shapes import read_tunings
from coach.guitar.search import best_grip
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord, read_bars
from coach.music.meter import FOUR_FOUR
from coach.picking.pattern import Pattern
from coach.picking.pattern_file import parse_pattern
from coach.picking.realise import hold_bars, realise
from tests.guitar.test_shape import SHAPES
from tests.picking.made_up import patterns
from tests.picking.shipped import BOOK, PATTERNS, everything, held, over
from tests.picking.test_pattern import THUMB, pattern_of

# Beats of the bar that the style gives to the thumb, from 0 (common practice, no source).
STRONG = {"2/4": (0,), "3/4": (0,), "4/4": (0, 2), "5/4": (0, 3), "6/8": (0, 1), "9/8": (0,), "12/8": (0, 2)}


def strings(pattern: Pattern, chord: str, shape: str, finger: str = "p") -> list[int]:
    """The strings one finger plucks in a bar."""
    plucks = realise(pattern, [held(Chord.parse(chord), Shape.parse(shape))])
    return [p.string for p in plucks if p.finger == finger]


def test_no_string_is_plucked_twice_at_once() -> None:
    """Every shipped pattern on every shape: one instant, one pluck a string."""
    for pattern, shape, _, plucks in everything():
        assert len({(p.bar, p.beat, p.string) for p in plucks}) == len(plucks), (pattern.id, str(shape))


def test_no_finger_plucks_twice_at_once() -> None:
    """Every shipped pattern on every shape: one instant, one pluck a finger."""
    for pattern, shape, _, plucks in everything():
        assert len({(p.bar, p.beat, p.finger) for p in plucks}) == len(plucks), (pattern.id, str(shape))


def test_fingers_never_cross() -> None:
    """At one instant thumb, index, middle and ring stand in that order across the strings, low to high."""
    for pattern, shape, _, plucks in everything():
        at: dict[tuple[int, Fraction], list[str]] = {}
        for p in plucks:  # lowest string first within an instant
            at.setdefault((p.bar, p.beat), []).append(p.finger)
        for fingers in at.values():
            assert fingers == sorted(fingers, key="pima".index), (pattern.id, str(shape))


def test_only_what_the_hand_holds_sounds() -> None:
    """A pluck sounds the shape's fret on a sounding string, unless the pattern itself names the fret."""
    for pattern, shape, _, plucks in everything():
        named = {(aim.finger, aim.string, aim.fret) for bar in pattern.bars for aim in bar.aims if aim.fret is not None}
        for p in plucks:
            assert shape.fret(p.string) == p.fret or (p.finger, p.string, p.fret) in named, (pattern.id, str(shape))
            assert p.midi == STANDARD.open_midi(p.string) + p.fret


def test_bars_are_exact() -> None:
    """Plucks stand in order within their bar, on the pattern's own slots, swung or not."""
    for pattern, _, _, plucks in everything():
        beats = pattern.meter.beats
        assert [(p.bar, p.beat) for p in plucks] == sorted((p.bar, p.beat) for p in plucks)
        for p in plucks:
            assert 0 <= p.beat < beats
            assert (p.beat * pattern.slots / beats).denominator == 1
            assert int(p.sounds_at) == int(p.beat)


def test_the_thumb_plays_every_strong_beat() -> None:
    """Whatever the shape mutes, the thumb is there on each strong beat of each bar."""
    for pattern, shape, _, plucks in everything():
        thumb = {(p.bar, p.beat) for p in plucks if p.finger == "p"}
        wanted = {(bar, Fraction(b)) for bar in range(len(pattern.bars)) for b in STRONG[str(pattern.meter)]}
        assert wanted <= thumb, (pattern.id, str(shape))


def test_the_bar_begins_with_the_root() -> None:
    """The first bar of every shipped pattern tells the chord's bass note on one."""
    for pattern, shape, bass, plucks in everything():
        first = next(p for p in plucks if p.finger == "p")
        assert (first.beat, first.string, first.role) == (Fraction(0), bass.r, "r"), (pattern.id, str(shape))


def test_a_pluck_that_moved_says_why() -> None:
    """A pluck on another string than the one written gives its reason, all others give none."""
    for pattern, shape, bass, plucks in everything():
        for p in plucks:
            bar = pattern.bars[p.bar % len(pattern.bars)]
            slot = int(p.beat * pattern.slots / pattern.meter.beats)
            aim = next(a for a in bar.aims if a.slot == slot and a.finger == p.finger)
            meant = aim.string or bass.string(aim.role)
            assert bool(p.why) == (p.string != meant), (pattern.id, str(shape), p)


@given(patterns(), SHAPES, st.sampled_from(["C", "F#m", "Bb/D"]))
def test_the_laws_hold_for_any_pattern_and_shape(pattern: Pattern, shape: Shape, symbol: str) -> None:
    """No string twice, no finger twice, only what is held or named, and every thumb stroke is played."""
    plucks = realise(pattern, [held(Chord.parse(symbol), shape)], loops=len(pattern.bars))
    named = {(aim.string, aim.fret) for bar in pattern.bars for aim in bar.aims}
    assert len({(p.bar, p.beat, p.string) for p in plucks}) == len(plucks)
    assert len({(p.bar, p.beat, p.finger) for p in plucks}) == len(plucks)
    assert all(p.fret == shape.fret(p.string) or (p.string, p.fret) in named for p in plucks)
    assert sum(p.finger == "p" for p in plucks) == sum(a.finger == "p" for bar in pattern.bars for a in bar.aims)


# common practice, no source
@pytest.mark.parametrize(
    ("chord", "shape", "walk"),
    [
        ("G", "320003", [6, 4, 5, 4]),
        ("C", "x32010", [5, 4, 5, 4]),
        ("D", "xx0232", [4, 3, 4, 3]),
        ("Am", "x02210", [5, 4, 5, 4]),
    ],
)
def test_root_alternate_fifth_alternate(chord: str, shape: str, walk: list[int]) -> None:
    """The thumb goes 6 4 5 4 on G and 5 4 5 4 on C."""
    assert strings(pattern_of(THUMB), chord, shape) == walk


def test_a_muted_string_falls_to_the_nearest() -> None:
    """String 1 muted, the ring finger's note is played on string 2, and says so."""
    pattern = pattern_of(("p", "r . . ."), ("a", ". 1 . ."), slots=4)
    (pluck,) = (p for p in realise(pattern, [held(Chord.parse("C"), Shape.parse("x3201x"))]) if p.finger == "a")
    assert (pluck.string, pluck.fret, pluck.why) == (2, 1, "string 1 is muted, so 2 is plucked")


def test_a_muted_bass_string_falls_to_the_nearest() -> None:
    """A walk on string 6 over a shape that mutes it without naming a fret goes to string 5."""
    pattern = pattern_of(("p", "6 . . ."), slots=4)
    (pluck,) = realise(pattern, [held(Chord.parse("C"), Shape.parse("x32010"))])
    assert (pluck.string, pluck.role, pluck.why) == (5, "r", "string 6 is muted, so 5 is plucked")


def test_fingers_make_room_for_the_thumb() -> None:
    """On D the thumb's alternate is string 3: index moves to 2 and middle to 1, and nothing crosses."""
    pattern = pattern_of(("p", "r a . ."), ("i", ". 3 . ."), ("m", ". 2 . ."), slots=4)
    plucks = [p for p in realise(pattern, [held(Chord.parse("D"), Shape.parse("xx0232"))]) if p.beat == 1]
    assert [(p.finger, p.string) for p in plucks] == [("p", 3), ("i", 2), ("m", 1)]
    assert plucks[1].why == "the thumb has string 3, so 2 is plucked"


def test_a_full_hand_drops_the_finger_without_a_string() -> None:
    """Four plucks on strings 3 2 1 and the thumb on 3: index rests, middle and ring keep their own."""
    pattern = pattern_of(("p", "r a . ."), ("i", ". 3 . ."), ("m", ". 2 . ."), ("a", ". 1 . ."), slots=4)
    plucks = [p for p in realise(pattern, [held(Chord.parse("D"), Shape.parse("xx0232"))]) if p.beat == 1]
    assert [(p.finger, p.string, p.why) for p in plucks] == [("p", 3, ""), ("m", 2, ""), ("a", 1, "")]


def test_a_capo_pushes_no_fret_past_the_neck() -> None:
    """Fret 22 over a capo at 2 is the last; over one at 3 it is told."""
    pattern = parse_pattern('title = "A"\nmeter = "4/4"\nslots = 4\n[[bars]]\nm = "2@22 . . ."\n', "a")
    bars = hold_bars(read_bars("C"), pattern.meter, BOOK)
    assert [p.fret for p in realise(pattern, bars, capo=2)] == [22]
    with pytest.raises(BadShape, match="past the end of the neck"):
        realise(pattern, bars, capo=3)


def test_a_named_fret_sounds_whatever_is_held() -> None:
    """5@0 and 5@2 walk A and B under a G shape, and 6@2 sounds on a shape that mutes string 6."""
    plucks = realise(pattern_of(("p", "r 5@0 5@2 6@2"), slots=4), [held(Chord.parse("C"), Shape.parse("x32010"))])
    assert [(p.string, p.fret, p.midi) for p in plucks] == [(5, 3, 48), (5, 0, 45), (5, 2, 47), (6, 2, 42)]


def test_a_chord_change_inside_the_bar_brings_its_root() -> None:
    """`C G` in one bar: C's root on one; on three the pattern asks for another bass, the thumb tells G's root."""
    plucks = over(pattern_of(THUMB), "C G")
    assert [(str(p.beat), p.string, p.fret) for p in plucks] == [("0", 5, 3), ("1", 4, 2), ("2", 6, 3), ("3", 4, 0)]
    assert [bool(p.why) for p in plucks] == [False, False, True, False]


def test_three_chords_in_a_bar_each_get_a_root() -> None:
    """Where the change falls between thumb strokes, the next stroke tells the root."""
    plucks = over(pattern_of(THUMB), "C F G")
    shapes = {"C": 5, "F": 4, "G": 6}
    assert [p.string for p in plucks] == [shapes["C"], 4, shapes["F"], shapes["G"]]


def test_no_chord_is_silence() -> None:
    """Under N nothing is plucked, and the chord after it starts afresh."""
    plucks = over(pattern_of(THUMB), "N | C N")
    assert [(p.bar, str(p.beat)) for p in plucks] == [(1, "0"), (1, "1")]


def test_capo_and_tuning_move_the_sound_and_not_the_hand() -> None:
    """Capo 2 sounds a whole step higher, half a step down a semitone lower, on the same strings and frets."""
    bars = [held(Chord.parse("G"), BOOK.shapes(Chord.parse("G"))[0])]
    lower = read_tunings(places.shipped("shared") / "tunings.toml")["half-step-down"]
    for pattern in PATTERNS:
        plain, capoed, down = (
            realise(pattern, bars),
            realise(pattern, bars, capo=2),
            realise(pattern, bars, tuning=lower),
        )
        assert [p.midi + 2 for p in plain] == [p.midi for p in capoed]
        assert [p.midi - 1 for p in plain] == [p.midi for p in down]
        assert [(p.string, p.fret) for p in plain] == [(p.string, p.fret) for p in capoed]


def test_bars_of_a_pattern_take_turns_across_the_loop() -> None:
    """A two-bar pattern over a three-bar loop starts its second round with its second bar."""
    two = next(p for p in PATTERNS if p.id == "walk-g-and-c")
    plucks = realise(two, hold_bars(read_bars("G | C | Am"), two.meter, BOOK), loops=2)
    fourth_bar = [(p.string, p.fret) for p in plucks if p.bar == 3 and p.finger == "p"]
    assert fourth_bar == [(6, 3), (4, 0), (5, 2), (5, 0)]


def test_pins_go_before_the_book() -> None:
    """A pinned shape is held instead of the book's first, and gives the thumb its own strings."""
    pins = {"F": Shape.parse("133211")}
    (bar,) = hold_bars(read_bars("F"), FOUR_FOUR, BOOK, pins)
    assert bar.holds[0].shape == pins["F"]
    assert bar.holds[0].bass == bass_of(pins["F"], Chord.parse("F"))
    assert bar.name == "F"


@pytest.mark.parametrize(("symbol", "tuning"), [("Cdim7", "E2 A2 D3 G3 B3 E4"), ("G", "D2 A2 D3 G3 A3 D4")])
def test_a_chord_the_book_does_not_know_gets_its_easiest_shape(symbol: str, tuning: str) -> None:
    """A chord without an open shape, or any chord in another tuning, is searched on the neck."""
    strings = Tuning.of(tuning)
    (bar,) = hold_bars(read_bars(symbol), FOUR_FOUR, BOOK, tuning=strings)
    best = best_grip(Chord.parse(symbol), tuning=strings)
    assert (bar.holds[0].shape, bar.holds[0].bass) == (best.shape, best.bass)


def test_a_chord_no_hand_can_hold_is_refused() -> None:
    """One finger alone holds no Cdim7: the refusal names the chord and how to give it a shape."""
    with pytest.raises(BadShape, match=r"no shape for Cdim7 .*Cdim7=x32010"):
        hold_bars(read_bars("Cdim7"), FOUR_FOUR, BOOK, hand=Hand(span_mm=10, barres="none"))


# Friberg & Sundstrom 2002, Music Perception 19:333-349: at a ratio of 2:1 the and falls on 2/3 of the beat.
def test_swing_reaches_the_plucks() -> None:
    """In a 2:1 swing what is written on the and sounds at two thirds; beats stay, and so does what is written."""
    plucks = over(next(p for p in PATTERNS if p.id == "swing-one-finger"), "G")
    assert {p.sounds_at % 1 for p in plucks if p.finger == "i"} == {Fraction(2, 3)}
    assert {p.beat % 1 for p in plucks if p.finger == "i"} == {Fraction(1, 2)}
    assert all(p.sounds_at == p.beat for p in plucks if p.finger == "p")
