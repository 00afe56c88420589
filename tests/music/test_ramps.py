"""Ramps: how the tempo moves, in numbers a player can check with pencil and paper."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.music.ramps import (
    OVER_TARGET,
    RAMP_NAMES,
    Alternate,
    Climb,
    Earned,
    Smooth,
    Steady,
    make_ramp,
    round_bpm,
    tempo_step,
    tempo_text,
)
from tests.sentences import is_one_sentence

BPM = st.integers(30, 200)
SHARES = st.floats(0.015, 0.05)


def bpm(value: float | str) -> Fraction:
    """A tempo, exactly."""
    return Fraction(str(value))


@given(st.floats(30, 200), SHARES)
@example(30.0, 0.015)
@example(66.7, 0.015)
@example(200.0, 0.05)
def test_a_step_can_be_felt_and_is_never_a_leap(tempo: float, share: float) -> None:
    """From 30 to 200 bpm a step of whole bpm is between 1.5 and 5 % of the tempo (Drake & Botte 1993)."""
    step = tempo_step(tempo, share)
    assert step.denominator == 1
    assert 0.015 * tempo <= step <= 0.05 * tempo


def test_steps_at_the_usual_share() -> None:
    """Three per cent of 66 is 2 bpm, of 100 is 3, of 134 is 4."""
    assert [tempo_step(t) for t in (66, 100, 134)] == [2, 3, 4]


def test_a_climb_goes_up_every_so_many_bars_and_lands_on_its_target() -> None:
    """From 72 by 4 every two bars to 82: 72 72 76 76 80 80 82 82; the last step is cut short."""
    climb = Climb(bpm(72), bpm(82), bpm(4), 2)
    assert [climb.tempo(bar, [])[0] for bar in range(8)] == [72, 72, 76, 76, 80, 80, 82, 82]


def test_a_climb_can_go_down() -> None:
    """From 90 by 4 a bar to 80: 90 86 82 80 80."""
    climb = Climb(bpm(90), bpm(80), bpm(4), 1)
    assert [climb.tempo(bar, [])[0] for bar in range(5)] == [90, 86, 82, 80, 80]


@given(BPM, BPM, st.integers(1, 9), st.integers(1, 8))
def test_a_climb_never_passes_its_target(start: int, target: int, step: int, every: int) -> None:
    """Up or down, each bar lies between start and target, no bar turns back, and the target is reached and kept."""
    climb = Climb(bpm(start), bpm(target), bpm(step), every)
    last = every * math.ceil(abs(target - start) / step)
    tempos = [climb.tempo(bar, [])[0] for bar in range(last + 3)]
    assert all(min(start, target) <= t <= max(start, target) for t in tempos)
    assert tempos == sorted(tempos, reverse=target < start)
    assert tempos[last:] == [target] * 3
    assert last == 0 or tempos[last - 1] != target


def test_a_climb_says_when_the_next_step_comes() -> None:
    """In the second of four bars at 72 the step to 74 is three bars away; on the target there is none."""
    climb = Climb(bpm(72), bpm(74), bpm(2), 4)
    assert climb.ahead(1, []) == "74 in 3 bars"
    assert climb.ahead(3, []) == "74 in 1 bar"
    assert climb.ahead(4, []) == "target reached"


def test_a_smooth_ramp_is_even_from_bar_to_bar() -> None:
    """From 80 to 90 over four bars: bar lines at 80, 82.5, 85, 87.5, 90, and then it stands."""
    smooth = Smooth(bpm(80), bpm(90), 4)
    lines = [bpm(80), bpm("82.5"), bpm(85), bpm("87.5"), bpm(90), bpm(90)]
    assert [smooth.tempo(bar, []) for bar in range(5)] == list(pairwise(lines))


@given(BPM, BPM, st.integers(1, 60), st.integers(0, 80))
def test_a_smooth_ramp_has_no_jump(start: int, target: int, over: int, bar: int) -> None:
    """Each bar begins with the very tempo the bar before it ended with."""
    smooth = Smooth(bpm(start), bpm(target), over)
    assert smooth.tempo(bar, [])[1] == smooth.tempo(bar + 1, [])[0]


def test_a_clean_pass_earns_one_step_and_a_stumble_costs_four() -> None:
    """At 3 %: 100, clean 103; stumbled 100 / 1.03^4 = 88.8 (Kaernbach 1991: four to one settles at 80 % clean)."""
    earned = Earned(bpm(100), bpm(200))
    assert earned.tempo(0, [True])[0] == 103
    assert earned.tempo(0, [False])[0] == bpm("88.8")
    assert earned.ahead(0, []) == "clean 103, stumbled 88.8"


def test_earned_goes_past_its_target_by_a_margin_only() -> None:
    """However many clean passes, an earned ramp stops 10 % over its target: 110 for a target of 100."""
    earned = Earned(bpm(90), bpm(100))
    assert earned.tempo(0, [True] * 40)[0] == round_bpm(100 * OVER_TARGET) == 110


def test_alternate_takes_turns() -> None:
    """A slow pass, one at the target, and so on, clean or not."""
    alternate = Alternate(bpm(60), bpm(84))
    assert [alternate.tempo(0, [False] * n)[0] for n in range(4)] == [60, 84, 60, 84]
    assert alternate.ahead(0, []) == "then 84"


@given(st.sampled_from(RAMP_NAMES), BPM, BPM, st.lists(st.booleans(), max_size=20), st.integers(0, 200))
def test_every_ramp_keeps_to_what_the_click_can_play(
    name: str, start: int, target: int, passes: list[bool], bar: int
) -> None:
    """Whatever was played, a ramp's tempo is between 20 and 400 bpm and it has words for what comes."""
    ramp = make_ramp(name, bpm(start), bpm(target))
    assert ramp.name == name
    assert all(20 <= t <= 400 for t in ramp.tempo(bar, passes))
    assert ramp.ahead(bar, passes)


def test_a_smooth_ramp_takes_as_long_as_the_climb_would() -> None:
    """From 80 to 86 in steps of 2, one a pass of four bars, is three passes: the smooth one lasts 12 bars."""
    assert make_ramp("smooth", bpm(80), bpm(86), step_share=0.03, pass_bars=4) == Smooth(bpm(80), bpm(86), 12)


def test_steady_stays() -> None:
    """A steady ramp has one tempo, whatever happens."""
    assert Steady(bpm(76)).tempo(99, [False, True]) == (bpm(76), bpm(76))


@pytest.mark.parametrize(
    "make",
    [
        lambda: make_ramp("spiral", bpm(80), bpm(90)),
        lambda: Climb(bpm(80), bpm(90), bpm(0), 4),
        lambda: Climb(bpm(80), bpm(90), bpm(2), 0),
        lambda: Smooth(bpm(80), bpm(90), 0),
        lambda: Earned(bpm(80), bpm(90), 0.01),
        lambda: Earned(bpm(80), bpm(90), 0.06),
    ],
)
def test_a_ramp_that_cannot_be_is_refused(make: object) -> None:
    """An unknown word, no step, no bars, a step too small to feel or too large: one sentence with a way out."""
    with pytest.raises(BadInput) as caught:
        make()  # type: ignore[operator]
    assert is_one_sentence(caught.value)


def test_tempos_are_said_as_people_say_them() -> None:
    """84 and 84.5, not 84.0; kept to a tenth and within 20 to 400."""
    assert (tempo_text(bpm(84)), tempo_text(bpm("84.5")), tempo_text(120)) == ("84", "84.5", "120")
    assert (round_bpm(84.26), round_bpm(3), round_bpm(900)) == (bpm("84.3"), bpm(20), bpm(400))
