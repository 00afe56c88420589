"""Where up-and-down tempo rules settle, by simulated players.

Sources
- Kaernbach 1991, Percept. Psychophys. 49:227-229: single steps with down/up = p/(1-p) settle where a share p of trials
  succeeds: 7/3 at 70 %, 3 at 75 %, 4 at 80 %, 17/3 at 85 %, 9 at 90 % (the ratio from memory; it is the
  balance p·up = (1-p)·down).
- Levitt 1971, J. Acoust. Soc. Am. 49:467-477: n successes up, one failure down settles at
  p = 0.5^(1/n): 0.5, 0.7071, 0.7937.
Levitt's rules are run beside ours as controls: the same player and harness must give three other, published shares.
"""

import math
import random
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import islice

import pytest

from coach.music.ramps import Earned

EDGE_BPM = 96.0
SPREAD = 0.12  # ln tempo; a pass at e^0.12 (13 %) above the edge is clean 27 times in 100

Rule = Callable[[float, bool], float]


def clean_chance(bpm: float) -> float:
    """A player whose chance of a clean pass is logistic in log tempo, even at the edge."""
    return 1 / (1 + math.exp((math.log(bpm) - math.log(EDGE_BPM)) / SPREAD))


def settled_share(rule: Rule, start: float, seed: int, passes: int, burn_in: int = 400) -> float:
    """Mean chance of a clean pass once the rule has settled, over `passes` passes."""
    chance = random.Random(seed)
    bpm, total = start, 0.0
    for n in range(burn_in + passes):
        p = clean_chance(bpm)
        if n >= burn_in:
            total += p
        bpm = rule(bpm, chance.random() < p)
    return total / passes


def levitt(successes: int, share: float) -> Rule:
    """The transformed up-down rule as published: that many clean passes in a row go up, one stumbled pass goes down."""
    run = 0

    def rule(bpm: float, clean: bool) -> float:
        nonlocal run
        run = run + 1 if clean else 0
        if not clean:
            return bpm / (1 + share)
        if run == successes:
            run = 0
            return bpm * (1 + share)
        return bpm

    return rule


def earned(share: float) -> Rule:
    """Our ramp, with a target far out of reach so that nothing but the player holds it."""
    ramp = Earned(Fraction(60), Fraction(300), step_share=share)
    return lambda bpm, clean: float(ramp.after_pass(Fraction(bpm), clean))


@pytest.mark.parametrize("share", [0.015, 0.02, 0.03])
@pytest.mark.parametrize("start", [60.0, 140.0])
def test_earned_tempo_settles_at_eight_clean_in_ten(share: float, start: float) -> None:
    """Kaernbach at p = 0.8: from below or above, the mean clean share comes to 0.80 within 0.015."""
    assert settled_share(earned(share), start, seed=1991, passes=20_000) == pytest.approx(0.80, abs=0.015)


@pytest.mark.parametrize(("p", "ratio"), [(0.70, 7 / 3), (0.75, 3), (0.80, 4), (0.85, 17 / 3), (0.90, 9)])
def test_single_steps_settle_where_published(p: float, ratio: float) -> None:
    """Kaernbach's ratios, written out here, give 70, 75, 80, 85 and 90 % in the same harness."""

    def rule(bpm: float, clean: bool) -> float:
        return bpm * 1.005 ** (1 if clean else -ratio)

    assert settled_share(rule, 80.0, seed=1991, passes=20_000, burn_in=1000) == pytest.approx(p, abs=0.01)


@pytest.mark.parametrize(("successes", "p"), [(1, 0.5), (2, 0.7071), (3, 0.7937)])
def test_levitts_rules_settle_where_published(successes: int, p: float) -> None:
    """One, two and three up give 0.5, 0.7071 and 0.7937 in the same harness."""
    shares = [settled_share(levitt(successes, 0.01), 80.0, seed, 20_000) for seed in (1, 2, 3)]
    assert sum(shares) / 3 == pytest.approx(p, abs=0.015)


def test_one_up_one_down_is_not_our_rule() -> None:
    """Negative control: the plain rule stays far from eight in ten."""
    assert abs(settled_share(levitt(1, 0.03), 80.0, 4, 20_000) - 0.80) > 0.2


def tempos(rule: Rule, start: float, answers: Iterator[bool]) -> Iterator[float]:
    """The tempos a run of answers leads through."""
    bpm = start
    for clean in answers:
        yield bpm
        bpm = rule(bpm, clean)


def test_four_clean_passes_make_good_one_stumble() -> None:
    """In equal steps of log tempo one stumble costs four clean passes, so the fifth pass of five is where one began."""
    answers = iter([True, True, True, True, False, True])
    walked = list(islice(tempos(earned(0.03), 80.0, answers), 6))
    assert walked[:5] == pytest.approx([80 * 1.03**k for k in range(5)], rel=0.002)
    assert walked[5] == pytest.approx(80.0, abs=0.15)  # tempos are kept to a tenth
