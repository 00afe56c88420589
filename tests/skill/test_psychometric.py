"""The curve of clean passes over tempo, and belief on a grid."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.skill import psychometric as curve

PRIOR = curve.normal_prior(math.log(85), 0.4)
trials = st.lists(
    st.tuples(
        st.integers(curve.fine_bin(30), curve.fine_bin(300)),
        st.sampled_from([0.25, 1.0, 2.0]),
        st.integers(0, 9).map(float),
        st.integers(0, 9).map(float),
    ),
    max_size=8,
)
law = settings(max_examples=40, deadline=None)


@pytest.mark.parametrize("spread", curve.SPREADS)
def test_the_steady_tempo_is_where_eight_in_ten_are_clean(spread: float) -> None:
    """Whatever the spread, the chance at the steady tempo is 0.8 with the lapses in it."""
    threshold = math.log(84) + curve.above_steady(spread)
    assert curve.chance(math.log(84), threshold, spread) == pytest.approx(0.8)


def test_faster_is_never_cleaner() -> None:
    """The chance falls from 97 in 100 to none as the tempo rises."""
    chances = [curve.chance(math.log(bpm), math.log(90), 0.08) for bpm in range(20, 400, 5)]
    assert all(b <= a for a, b in pairwise(chances))
    assert chances[0] == pytest.approx(1 - curve.LAPSE)
    assert chances[-1] < 1e-6


@law
@given(trials)
def test_belief_sums_to_one(played) -> None:
    """Over spread and tempo together, and over tempo alone, whatever was played."""
    rows = curve.log_likelihoods(played)
    grid = curve.posterior(rows, PRIOR)
    assert math.fsum(map(math.fsum, grid)) == pytest.approx(1, abs=1e-12)
    assert math.fsum(curve.belief(curve.likelihood(rows), PRIOR)) == pytest.approx(1, abs=1e-12)


@law
@given(trials)
def test_summing_the_spread_out_first_or_last_is_the_same(played) -> None:
    """The grid's columns are the belief along tempo."""
    rows = curve.log_likelihoods(played)
    columns = [math.fsum(column) for column in zip(*curve.posterior(rows, PRIOR), strict=True)]
    assert curve.belief(curve.likelihood(rows), PRIOR) == pytest.approx(columns, abs=1e-12)


@law
@given(trials, st.randoms(use_true_random=False))
def test_the_order_of_trials_plays_no_part(played, chance) -> None:
    """Any order gives the same log-likelihoods to the last bit."""
    shuffled = list(played)
    chance.shuffle(shuffled)
    assert curve.log_likelihoods(played) == curve.log_likelihoods(shuffled)


def test_the_tables_are_the_curve() -> None:
    """A clean and two stumbled passes at 90 bpm, cell by cell, by the formula itself."""
    fine = 4 * round(math.log(90) / curve.STEP)  # the middle of a cell
    rows = curve.log_likelihoods([(fine, 1.0, 1.0, 2.0)])
    middle = fine // 4 - curve.FIRST_CELL
    for spread, row in zip(curve.SPREADS, rows, strict=True):
        for cell in range(middle - 20, middle + 20, 7):
            p = curve.chance(fine * curve.FINE, curve.ln_tempo(cell) + curve.above_steady(spread), spread)
            assert row[cell] == pytest.approx(math.log(p) + 2 * math.log(1 - p))


def test_a_pass_twice_as_long_is_two_in_a_row() -> None:
    """Clean, it says what two clean ones say; stumbled, that not both were clean."""
    fine = 4 * round(math.log(90) / curve.STEP)  # the middle of a cell
    single = curve.log_likelihoods([(fine, 1.0, 1.0, 0.0)])
    clean, stumbled = (curve.log_likelihoods([(fine, 2.0, *counts)]) for counts in ((1.0, 0.0), (0.0, 1.0)))
    assert clean[2] == pytest.approx([2 * value for value in single[2]])
    assert stumbled[2] == pytest.approx([math.log(1 - math.exp(2 * value)) for value in single[2]])


def test_tenths_of_a_normal_belief() -> None:
    """Quantiles of a normal law: -1.2816, 0 and 1.2816 standard deviations."""
    found = curve.quantiles(curve.normal_prior(4.4, 0.1), (0.1, 0.5, 0.9))
    assert found == pytest.approx([4.4 - 0.12816, 4.4, 4.4 + 0.12816], abs=3e-4)


def test_spreads_before_anything_is_known() -> None:
    """They sum to one, and falling off over 7.6 % is the likeliest."""
    weights = dict(zip(curve.SPREADS, curve.spread_prior(), strict=True))
    assert math.fsum(weights.values()) == pytest.approx(1)
    assert max(weights, key=weights.__getitem__) == 0.076
