"""The exact tests behind diagnosis and remedies, against examples printed elsewhere.

Sources
- Fisher 1935, The Design of Experiments, chapter 2 (the lady tasting tea; from memory): of 4 cups with milk first
  among 8, all 4 named right has chance 1/70, 3 or more 17/70.
- The binomial law for fair dice and coins, which anyone can count.
"""

from fractions import Fraction
from itertools import product

import pytest

from coach.skill.diagnosis import upper_tail
from coach.skill.remedies import as_clean_by_chance


@pytest.mark.parametrize(("right", "ways"), [(4, 1), (3, 17), (2, 53), (0, 70)])
def test_the_lady_tasting_tea(right: int, ways: int) -> None:
    """Cups as passes: 4 clean of 8 in all, 4 played since; so many of the clean ones fell to these."""
    chance = as_clean_by_chance({1: (4 - right, 4)}, {1: (right, 4)})
    assert chance == pytest.approx(ways / 70)


def test_two_tables_add_up_as_counted_by_hand() -> None:
    """Two steps of tempo of one pass before and one since, one clean each: both since comes once in four."""
    assert as_clean_by_chance({1: (0, 1), 2: (0, 1)}, {1: (1, 1), 2: (1, 1)}) == pytest.approx(1 / 4)


@pytest.mark.parametrize("sixes", range(5))
def test_the_tail_equals_counting_every_throw_of_four_dice(sixes: int) -> None:
    """The chance of so many sixes or more, counted over all 1296 throws."""
    throws = list(product(range(6), repeat=4))
    counted = Fraction(sum(throw.count(5) >= sixes for throw in throws), len(throws))
    assert upper_tail(sixes, 4, 1 / 6) == pytest.approx(float(counted))
