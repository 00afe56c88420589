"""How long a player's hands keep a thing, told by the first passes after days away."""

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from coach.log.takes import Pass, Take
from coach.picking.layers import FULL, THUMB
from coach.skill.memory import LONGEST_INTERVAL_DAYS
from coach.skill.retention import PUBLISHED_HALF_DAYS, Returns, keeping, returned
from coach.skill.take_summary import summarize

DAY = date(2026, 3, 10)


def made_returns(half_days: float, count: int, seed: int, share: float = 0.88) -> Returns:
    """Returns of a made-up player: gaps mostly short, one in five of a week to three weeks; three passes each."""
    chance = random.Random(seed)
    found: dict[int, tuple[int, int]] = {}
    for _ in range(count):
        gap = chance.randint(7, 21) if chance.random() < 0.2 else chance.randint(1, 3)
        clean = sum(chance.random() < share * 2 ** (-gap / half_days) for _ in range(3))
        old = found.get(gap, (0, 0))
        found[gap] = (old[0] + clean, old[1] + 3)
    return found


def test_nothing_played_says_what_is_published() -> None:
    """Without returns the middle is half of accuracy gone after 6.5 months (Tatel & Ackerman), and nothing changes."""
    found = keeping({})
    assert found.middle == pytest.approx(PUBLISHED_HALF_DAYS, rel=0.02)
    assert found.wait == LONGEST_INTERVAL_DAYS
    assert found.words is None


def test_the_range_holds_the_truth_about_9_times_in_10() -> None:
    """Over made-up players who forget as the law says, the range holds the true half-life 82 to 98 times in 100."""
    inside = 0
    for seed in range(100):
        half = random.Random(1000 + seed).lognormvariate(5.27, 1.0)  # around 195 days
        found = keeping(made_returns(half, 400, seed))
        inside += found.low <= half <= found.high
    assert 82 <= inside <= 98


@pytest.mark.parametrize("seed", range(5))
def test_a_player_who_forgets_fast_is_told_so(seed: int) -> None:
    """Half gone in a month: things come back after about five days, and the words say so with the number."""
    found = keeping(made_returns(30, 400, seed))
    assert 3 <= found.wait <= 8
    assert found.words is not None
    assert f"about {found.wait} days" in found.words


@pytest.mark.parametrize("seed", range(5))
def test_a_player_as_published_waits_no_shorter(seed: int) -> None:
    """Half gone in half a year: three weeks stay three weeks."""
    assert keeping(made_returns(195, 400, seed)).wait == LONGEST_INTERVAL_DAYS


def test_a_few_returns_change_nothing() -> None:
    """Three bad evenings after a fortnight away are no law of one's hands."""
    assert keeping({1: (60, 66), 14: (4, 9)}).wait == LONGEST_INTERVAL_DAYS


def test_more_bad_returns_never_lengthen_the_wait() -> None:
    """The more first passes are lost after ten days away, the sooner things come back."""
    waits = [keeping({1: (180, 200), 10: (100 - lost, 100)}).wait for lost in range(10, 80, 10)]
    assert waits == sorted(waits, reverse=True)
    assert waits[0] == LONGEST_INTERVAL_DAYS
    assert waits[-1] < 7


def take(*tempos: tuple[float, bool], layer: str = FULL) -> Take:
    """A take of passes at these tempos, clean or not."""
    passes = tuple(Pass(n, bpm, 4, int(not clean), clean, layer) for n, (bpm, clean) in enumerate(tempos, 1))
    at = datetime(2026, 3, 10, 18, tzinfo=UTC)
    return Take("t", at, DAY, "two-lamps", tempos[0][0], 4 * len(passes), 0, "held", layer, "play", passes)


@pytest.mark.parametrize(
    ("gap", "held", "played", "told"),
    [
        (5, 80.0, take((78, True), (79, False), (80, True), (81, False)), (2, 3)),
        (5, 80.0, take((60, True), (62, True), (80, True)), (1, 1)),  # the slow ones say nothing of 80
        (5, 80.0, take((90, False), (92, False)), None),
        (5, None, take((78, True)), None),
        (0, 80.0, take((78, True)), None),
        (5, 80.0, take((78, True), layer=THUMB), None),
    ],
)
def test_what_a_return_says(gap: int, held: float | None, played: Take, told: tuple[int, int] | None) -> None:
    """The first three passes at the tempo it was held at, all of it and not the thumb, after a night at least."""
    assert returned(gap, held, [summarize(played)]) == told


def test_only_the_first_take_of_the_day_tells() -> None:
    """The second take was warmed up by the first."""
    slow, fast = take((60, True)), take((80, True))
    assert returned(5, 80.0, [summarize(slow), summarize(fast)]) is None
    assert returned(5, 80.0, [summarize(fast), summarize(slow)]) == (1, 1)


def by_months(fades: float, seed: int) -> Returns:
    """The returns of a learner by published curves, practising as the coach plans for 120 days."""
    from tests.bench.learners import months as bench
    from tests.bench.learners.law import KINDS

    found: dict[int, tuple[int, int]] = {}
    fold: Callable[..., object] = bench.past_of

    def listening(takes, before=None):  # type: ignore[no-untyped-def]
        if before is not None:
            gap = (takes[0].local_day - before.last_day).days
            told = returned(gap, before.full.bpm, [summarize(t) for t in takes])
            if told is not None:
                old = found.get(gap, (0, 0))
                found[gap] = (old[0] + told[0], old[1] + told[1])
        return fold(takes, before)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bench, "past_of", listening)
        bench.months(replace(KINDS[0], fades=fades), bench.the_coach, seed, days=120)
    return found


def test_learners_by_published_curves_keep_their_three_weeks() -> None:
    """Learners who forget as published, another law than the one assumed, are not hurried."""
    assert all(keeping(by_months(1.0, seed)).wait == LONGEST_INTERVAL_DAYS for seed in range(2))


def test_learners_who_forget_twenty_times_as_fast_come_back_sooner() -> None:
    """Most learners who lose half of their accuracy in ten days are brought back within ten."""
    waits = [keeping(by_months(20.0, seed)).wait for seed in range(3)]
    assert sum(wait <= 10 for wait in waits) >= 2
