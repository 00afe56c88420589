"""Steady tempo: where about 8 in 10 passes are clean, and nothing until it is known."""

import math
import random
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.practice.steady import LEAST_PASSES, steady
from tests.practice.made import take


def at(tempo: float, clean: int, stumbled: int, **more):
    """A take at one tempo."""
    return take("a", 1, tempo=tempo, clean=clean, stumbled=stumbled, **more)


def test_eight_in_ten_is_read_off_between_two_tempos() -> None:
    """All clean at 80 and six in ten at 100: 8 in 10 lies half-way in log tempo, at sqrt(80 x 100)."""
    known = steady([at(80, 10, 0), at(100, 6, 4)])
    assert known is not None
    assert known.bpm == pytest.approx(math.sqrt(80 * 100))
    assert known.low < known.bpm < known.high


@pytest.mark.parametrize(
    "takes",
    [
        [],
        [at(80, 3, 2)],  # five passes
        [at(80, 12, 0)],  # never stumbled: the edge was not found
        [at(80, 0, 12)],
        [at(80, 5, 5), at(100, 1, 9)],  # even the slowest was clean less than 8 in 10
        [at(80, 9, 1, layer="thumb")],  # the thumb alone says nothing of the whole
    ],
)
def test_nothing_is_claimed_before_it_is_known(takes) -> None:
    """Too few passes, one kind of pass only, or no tempo held: no figure."""
    assert steady(takes) is None


tried = st.lists(st.tuples(st.integers(40, 160), st.integers(0, 6), st.integers(0, 6)), max_size=6)


@given(tried)
def test_it_lies_within_what_was_tried(takes) -> None:
    """The estimate is never outside the tempos played, and its band holds it."""
    played = [at(t, c, s) for t, c, s in takes]
    passes = [p for t in played for p in t.passes][-40:]
    known = steady(played)
    if known is not None:
        assert min(p.tempo for p in passes) <= known.bpm * (1 + 1e-12)
        assert known.bpm <= max(p.tempo for p in passes) * (1 + 1e-12)
        assert known.low < known.bpm < known.high
        assert known.passes >= LEAST_PASSES


def test_one_more_stumble_never_makes_it_faster() -> None:
    """Turning a clean pass at the fastest tempo into a stumbled one lowers the figure or leaves it."""
    figures = []
    for stumbled in range(1, 9):
        known = steady([at(80, 10, 0), at(100, 10 - stumbled, stumbled)])
        assert known is not None
        figures.append(known.bpm)
    assert all(b <= a + 1e-9 for a, b in pairwise(figures))


def test_it_finds_a_made_up_player() -> None:
    """A player clean 8 times in 10 at 96 bpm (logistic in log tempo) is found within 5 %, median of 40 runs."""
    edge = math.log(4) * 0.08  # ln tempo between 8 in 10 and 5 in 10 at this slope
    errors = []
    for seed in range(40):
        chance = random.Random(seed)
        takes = []
        for tempo in (84, 90, 96, 102, 108, 114):
            p = 1 / (1 + math.exp((math.log(tempo / 96) - edge) / 0.08))
            clean = sum(chance.random() < p for _ in range(6))
            takes.append(at(tempo, clean, 6 - clean))
        known = steady(takes)
        if known is not None:
            errors.append(abs(known.bpm / 96 - 1))
    assert len(errors) > 25
    assert sorted(errors)[len(errors) // 2] < 0.05
