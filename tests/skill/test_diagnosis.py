"""Where stumbles gather is told when the count supports it, and else nothing is said."""

import random
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.drills.loop_map import LoopMap, map_pattern, map_piece
from coach.guitar.open_shapes import read_shape_book
from coach.log.takes import Stumble
from coach.music.chords import read_bars
from coach.picking.pattern_file import parse_pattern
from coach.picking.realise import hold_bars
from coach.places import shipped
from coach.skill.diagnosis import BEAT, CHANGE, EVERY, FINGER, LEAST_HITS, ONE_IN, gathered, spots, trouble, upper_tail
from coach.song.piece import pattern_piece
from tests.made_takes import NOW, TODAY, take

# Thumb on every beat, middle on 2, index after 2 and 4, and a pinch with the ring finger on 1.
LANDING = """
title = "Landing stage"
about = "Thumb on every beat."
meter = "4/4"
slots = 8
feel = "straight"
[[bars]]
p = "r . a . f . a ."
i = ". . . 3 . . . 3"
m = ". . 2 . . . . ."
a = "1 . . . . . . ."
"""


def landing(chords: str = "C | Am | F | G") -> LoopMap:
    """The pattern above on some chords."""
    return map_pattern(parse_pattern(LANDING, "landing-stage"), chords)


def stumble(bar: int, beat: str, pass_no: int = 1, take_id: str = "one") -> Stumble:
    """A stumble of a made-up take."""
    return Stumble(take_id, NOW, bar, beat, 80.0, pass_no)


def test_the_map_says_chord_change_and_fingers_of_each_beat() -> None:
    """In C | F G each bar line changes the chord, and G comes on the third beat of its bar."""
    loop = landing("C | F G")
    assert [p.change for p in loop.places] == ["G to C", "", "", "", "C to F", "", "F to G", ""]
    assert [p.chord for p in loop.places] == ["C"] * 4 + ["F", "F", "G", "G"]
    assert [p.fingers for p in loop.places[:4]] == ["pa", "pim", "p", "pi"]
    assert [p.pinch for p in loop.places[:4]] == [True, True, False, False]
    assert loop.chords(1) == ("F", "G")


def test_a_pattern_of_two_bars_over_three_chords_comes_round_after_six() -> None:
    """The round is as long as it takes until chords and pattern begin together again."""
    two = parse_pattern(LANDING + LANDING[LANDING.index("[[bars]]") :], "two-landings")
    assert map_pattern(two, "C | Am | G").bars == 6


def test_the_second_round_of_a_pass_is_the_same_place() -> None:
    """Bar 3 of a loop of two bars is its bar 1 again; a half beat belongs to its beat."""
    loop = landing("C | Am")
    assert loop.counts([stumble(0, "5/2"), stumble(2, "2", 2)]) == Counter({(0, 2): 2})


def test_one_slip_marked_twice_counts_once() -> None:
    """Two marks on the same beat of the same pass are one stumble; in another pass it is another."""
    loop = landing()
    assert loop.counts([stumble(0, "1"), stumble(0, "3/2"), stumble(0, "1", 2)]).total() == 2


def test_seven_of_nine_at_the_change_to_f_are_told() -> None:
    """Stumbles on the first beat of bar 3 gather there, with what comes there in words."""
    counts = Counter({(2, 0): 7, (0, 1): 1, (1, 3): 1})
    found = gathered(counts, landing())
    assert found is not None
    assert (found.spot.kind, found.hits, found.stumbles) == (BEAT, 7, 9)
    where = "at bar 3, beat 1 (Am to F; thumb and ring, with a pinch)"
    assert found.words == f"stumbles gather {where}: 7 of 9, evenly spread it would be less than 1"


def test_a_change_that_comes_twice_is_one_trouble() -> None:
    """In C | F | C | F stumbles on both moves to F, marked on the beat or the one after, point at the change."""
    loop = landing("C | F | C | Am | C | F | C | G")
    found = gathered(Counter({(1, 0): 3, (1, 1): 2, (5, 0): 3, (5, 1): 2, (6, 2): 1}), loop)
    assert found is not None
    assert (found.spot.kind, found.spot.name) == (CHANGE, "at the change from C to F")


def test_the_same_beat_of_every_bar_is_one_trouble() -> None:
    """Stumbles on beat 4 of all bars point at the pattern, not at a chord."""
    found = gathered(Counter({(bar, 3): 4 for bar in range(4)}), landing())
    assert found is not None
    assert found.spot.kind == EVERY


def test_the_beats_of_one_finger_are_one_trouble() -> None:
    """The index finger plucks in beats 2 and 4 of every bar here: stumbles spread over these alone point at it."""
    counts = Counter({(bar, beat): 2 for bar in range(4) for beat in (1, 3)})
    found = gathered(counts, landing())
    assert found is not None
    assert (found.spot.kind, found.spot.name) == (FINGER, "where the index finger plucks")


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), max_size=LEAST_HITS - 1))
def test_with_three_stumbles_nothing_is_said(places: list[tuple[int, int]]) -> None:
    """Fewer than four stumbles support no place at all, wherever they lie."""
    assert gathered(Counter(places), landing()) is None


def test_an_even_spread_is_hardly_ever_called_a_trouble() -> None:
    """Of 1500 drills whose stumbles fall anywhere alike, no more than the stated share is told a trouble."""
    loop, chance = landing(), random.Random(5)
    told = 0
    for _ in range(1500):
        counts = Counter(chance.choice(loop.places).place for _ in range(chance.randrange(4, 40)))
        told += gathered(counts, loop) is not None
    assert told / 1500 <= ONE_IN


def test_what_was_mended_a_month_ago_is_no_trouble_now() -> None:
    """Stumbles of takes older than four weeks are left aside."""
    loop = landing()
    old, new = take("two-lamps", 40), take("two-lamps", 2)
    marks = [stumble(2, "0", n, old.id) for n in range(9)]
    assert trouble(loop, [old, new], marks, TODAY) is None
    assert trouble(loop, [old, new], [replace(m, take=new.id) for m in marks], TODAY) is not None
    assert trouble(loop, [new], [replace(m, take=new.id) for m in marks], TODAY + timedelta(40)) is None


def test_what_was_mended_in_the_last_twelve_takes_is_no_trouble_now() -> None:
    """Nine stumbles of last week, and a dozen takes without one since: nothing is said any more."""
    loop = landing()
    broken = take("two-lamps", 7)
    marks = [stumble(2, "0", n, broken.id) for n in range(9)]
    mended = [take("two-lamps", 6 - n // 2, minute=n, number=n) for n in range(12)]
    assert trouble(loop, [broken, *mended[:11]], marks, TODAY) is not None
    assert trouble(loop, [broken, *mended], marks, TODAY) is None


def test_no_spot_is_most_of_the_loop() -> None:
    """The thumb plays on every beat here, so nothing is ever laid at its door."""
    assert not [s for s in spots(landing()) if s.name == "where the thumb plucks"]


@pytest.mark.parametrize(("hits", "of", "share", "chance"), [(4, 4, 0.5, 0.0625), (0, 9, 0.1, 1.0), (1, 2, 0.5, 0.75)])
def test_the_tail_of_a_coin(hits: int, of: int, share: float, chance: float) -> None:
    """Four heads of four come once in sixteen; none or more always."""
    assert upper_tail(hits, of, share) == pytest.approx(chance)


# A song's piece -----------------------------------------------------------------------------


def test_a_piece_has_the_map_its_pattern_and_chords_have() -> None:
    """The same loop as a piece that is played: chords, changes, fingers and pinches beat by beat."""
    pattern = parse_pattern(LANDING, "landing-stage")
    book = read_shape_book(shipped("shared") / "shapes.toml")
    piece = pattern_piece(pattern, hold_bars(read_bars("C | F G | Am"), pattern.meter, book), Fraction(80))
    assert map_piece(piece.bars) == map_pattern(pattern, "C | F G | Am")


def test_a_pick_up_bar_has_fewer_beats() -> None:
    """A first bar of one beat: no stumble lies on its second, and the even spread counts only beats that are there."""
    pattern = parse_pattern(LANDING, "landing-stage")
    book = read_shape_book(shipped("shared") / "shapes.toml")
    piece = pattern_piece(pattern, hold_bars(read_bars("G | C | Am"), pattern.meter, book), Fraction(80))
    short = replace(piece.bars[0], beats=Fraction(1), plucks=tuple(p for p in piece.bars[0].plucks if p.beat < 1))
    loop = map_piece((short, *piece.bars[1:]))
    assert len(loop.places) == 9
    assert loop.folded(0, "1") is None
    assert loop.folded(1, "7/2") == (1, 3)
    found = gathered(Counter({(0, 0): 8, (1, 2): 1}), loop)
    assert found is not None
    assert found.expected == pytest.approx(1)
