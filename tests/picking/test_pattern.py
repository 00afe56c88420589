"""The pattern grid and how hard it is."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given

from coach.errors import BadPattern
from coach.music.meter import FOUR_FOUR
from coach.picking.pattern import Aim, Pattern, aim_token, difficulty, make_pattern_bar, read_lane
from coach.picking.plucks import ACCENT, SOFT, swing_beat
from tests.picking.made_up import patterns
from tests.sentences import is_one_sentence


def pattern_of(*lanes: tuple[str, str], slots: int = 8, share: Fraction = Fraction(1, 2)) -> Pattern:
    """A one-bar pattern in 4/4 from its lanes."""
    return Pattern("p", "P", "", FOUR_FOUR, slots, (make_pattern_bar(lanes, slots),), share=share)


THUMB = ("p", "r . a . f . a .")


@pytest.mark.parametrize(
    ("finger", "token", "aim"),
    [
        ("p", "r", Aim(0, "p", role="r")),
        ("p", "f!", Aim(0, "p", role="f", stress=ACCENT)),
        ("p", "5@2", Aim(0, "p", string=5, fret=2)),
        ("p", "(a)", Aim(0, "p", role="a", stress=SOFT)),
        ("i", "3", Aim(0, "i", string=3)),
        ("m", "2@12!", Aim(0, "m", string=2, fret=12, stress=ACCENT)),
        ("a", "(1@0)", Aim(0, "a", string=1, fret=0, stress=SOFT)),
    ],
)
def test_tokens(finger: str, token: str, aim: Aim) -> None:
    """A token says role or string, fret and stress, and is written back as it was."""
    assert list(read_lane(finger, token, 1)) == [aim]
    assert aim_token(aim) == token


@pytest.mark.parametrize(
    ("finger", "token"),
    [
        (token[0], token[2:])
        for token in [
            "p=3",
            "p=x",
            "p=r@2",
            "p=..",
            "i=r",
            "i=0",
            "i=7",
            "i=(3",
            "i=3)",
            "i=(3!)",
            "i=2@",
            "i=2@123",
            "m=2!!",
            "a=1@-1",
        ]
    ],
)
def test_unknown_tokens_are_refused(finger: str, token: str) -> None:
    """A token that means nothing is named with its lane and slot, in one sentence."""
    with pytest.raises(BadPattern) as caught:
        list(read_lane(finger, f". {token}", 2))
    assert is_one_sentence(caught.value)
    assert f"lane {finger} has '{token}' in slot 2" in str(caught.value)


@pytest.mark.parametrize("text", ["", "r", "r a f", "r . a . f"])
def test_a_lane_fills_its_slots(text: str) -> None:
    """A lane with too few or too many tokens is refused in one sentence."""
    with pytest.raises(BadPattern) as caught:
        list(read_lane("p", text, 4))
    assert is_one_sentence(caught.value)


def test_one_string_takes_one_finger() -> None:
    """Index and middle cannot both want string 3 at one instant."""
    with pytest.raises(BadPattern) as caught:
        make_pattern_bar([("i", "3 ."), ("m", "3 .")], 2)
    assert is_one_sentence(caught.value)


# A swing ratio r:1 puts the second half of the beat at r/(1+r). Source: Friberg & Sundstrom 2002,
# Music Perception 19:333-349.
@pytest.mark.parametrize("ratio", [Fraction(1), Fraction(3, 2), Fraction(2), Fraction(3)])
def test_swing_puts_the_and_where_its_ratio_says(ratio: Fraction) -> None:
    """At 2:1 the and of every beat falls on two thirds of it; the beats themselves stay."""
    share = ratio / (1 + ratio)
    for beat in range(4):
        assert swing_beat(Fraction(beat), share) == beat
        assert swing_beat(beat + Fraction(1, 2), share) == beat + ratio / (1 + ratio)


def test_swing_halves_each_part_of_the_beat() -> None:
    """In a 2:1 swing the `e` lies half way to the and, at one third, and the `a` half way on, at five sixths."""
    places = [swing_beat(Fraction(k, 4), Fraction(2, 3)) for k in range(5)]
    assert places == [0, Fraction(1, 3), Fraction(2, 3), Fraction(5, 6), 1]


@given(patterns())
def test_difficulty_is_a_number_for_any_pattern(pattern: Pattern) -> None:
    """Any pattern has a difficulty above nothing, and a silent one none."""
    assert difficulty(pattern) > 0
    assert difficulty(replace(pattern, bars=tuple(replace(b, aims=()) for b in pattern.bars))) == 0


@pytest.mark.parametrize(
    ("easier", "harder"),
    [
        ([("p", "r . r . r . r .")], [THUMB]),
        ([THUMB], [THUMB, ("i", ". . . 3 . . . .")]),
        ([THUMB, ("i", "3 . . . 3 . . .")], [THUMB, ("i", ". 3 . . . 3 . .")]),
        ([THUMB, ("i", ". 3 . . . 3 . .")], [THUMB, ("i", ". 3 . . . . . ."), ("m", ". . . . . 2 . .")]),
        ([THUMB, ("i", ". 3 . . . 3 . .")], [THUMB, ("i", ". 3! . . . 3 . .")]),
        ([THUMB], [("p", "r . a . 5@0 . 5@2 .")]),
        ([THUMB, ("i", ". 3 . . . 3 . .")], [THUMB, ("i", ". (3) . . . 3 . .")]),
    ],
)
def test_what_a_teacher_brings_later_is_harder(easier: list[tuple[str, str]], harder: list[tuple[str, str]]) -> None:
    """A moving bass, a finger, one off the beat, a second finger, an accent off it, a walk, a ghost: each adds."""
    assert difficulty(pattern_of(*easier)) < difficulty(pattern_of(*harder))


def test_a_finer_grid_is_not_harder() -> None:
    """The same plucks written on sixteenths instead of eighths ask the same of the hand."""
    coarse = pattern_of(THUMB)
    fine = pattern_of(("p", "r . . . a . . . f . . . a . . ."), slots=16)
    assert difficulty(coarse) == difficulty(fine)
    assert difficulty(replace(coarse, share=Fraction(2, 3))) > difficulty(coarse)
