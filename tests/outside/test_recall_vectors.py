"""Recall arithmetic against published worked values, and our memory against both.

Sources
- FSRS-6: formulas and default weights of the free spaced repetition scheduler, as in `fsrs` 6.3.2.
- Upstream's own test vectors: py-fsrs v6.3.1, tests/test_basic.py.
The first half drives the pinned package with its own vectors, so that a changed version is noticed; the second writes
the formulas out again and holds `coach.skill.memory` against them.
"""

import math
import random
from datetime import UTC, date, datetime, timedelta

import fsrs
import pytest

from coach.log.takes import VERDICTS
from coach.skill.memory import Memory, after, first_graded, graded, recall

W = (
    0.212, 1.2931, 2.3065, 8.2956, 6.4133, 0.8334, 3.0194, 0.001, 1.8722, 0.1666, 0.796,
    1.4835, 0.0614, 0.2629, 1.6483, 0.6014, 1.8729, 0.5425, 0.0912, 0.0658, 0.1542,
)  # fmt: skip
F = 0.9 ** (-1 / W[20]) - 1
START = datetime(2026, 1, 1, tzinfo=UTC)


def kept(t: float, s: float) -> float:
    """R(t, S) = (1 + F·t/S)^-w20."""
    return (1 + F * t / s) ** -W[20]


def first(grade: int) -> tuple[float, float]:
    """Stability and difficulty after a first grade 1..4."""
    return W[grade - 1], min(max(W[4] - math.exp(W[5] * (grade - 1)) + 1, 1), 10)


def step(s: float, d: float, grade: int, days: int) -> tuple[float, float]:
    """Stability and difficulty after a grade given `days` whole days later (FSRS-6, written out again)."""
    r = kept(days, s)
    if days < 1:
        rise = math.exp(W[17] * (grade - 3 + W[18])) * s ** -W[19]
        new = s * (max(rise, 1) if grade > 1 else rise)
    elif grade == 1:
        long = W[11] * d ** -W[12] * ((s + 1) ** W[13] - 1) * math.exp(W[14] * (1 - r))
        new = min(long, s / math.exp(W[17] * W[18]))
    else:
        gain = math.exp(W[8]) * (11 - d) * s ** -W[9] * (math.exp(W[10] * (1 - r)) - 1)
        new = s * (1 + gain * (W[15] if grade == 2 else 1) * (W[16] if grade == 4 else 1))
    unclamped_easy = W[4] - math.exp(W[5] * 3) + 1
    moved = d - W[6] * (grade - 3) * (10 - d) / 9
    return max(new, 0.001), min(max(W[7] * unclamped_easy + (1 - W[7]) * moved, 1), 10)


def scheduler(**more) -> fsrs.Scheduler:
    """The package without spreading."""
    return fsrs.Scheduler(enable_fuzzing=False, **more)


def test_the_weights_are_the_packages_defaults() -> None:
    """The 21 published default weights are those of the installed package."""
    assert tuple(scheduler().parameters) == W


@pytest.mark.parametrize(
    ("t", "s", "r"), [(10, 10, 0.9), (30, 10, 0.809388), (100, 10, 0.692827), (2, 2.3065, 0.909493)]
)
def test_recall_worked_values(t: int, s: float, r: float) -> None:
    """R(t, S) for the worked values, by the formula and by the package."""
    assert pytest.approx(0.9803464944, abs=1e-9) == F
    assert kept(t, s) == pytest.approx(r, abs=1e-6)
    item = fsrs.Card(1, fsrs.State.Review, None, s, 5.0, START, START)
    assert scheduler().get_card_retrievability(item, START + timedelta(days=t)) == pytest.approx(r, abs=1e-6)


@pytest.mark.parametrize(
    ("aim", "ratio"), [(0.70, 9.287911), (0.80, 3.315960), (0.85, 1.906426), (0.90, 1.0), (0.95, 0.402559)]
)
def test_interval_for_a_wanted_recall(aim: float, ratio: float) -> None:
    """I(r)/S = (r^(-1/w20) - 1)/F."""
    assert (aim ** (-1 / W[20]) - 1) / F == pytest.approx(ratio, abs=1e-6)


def test_first_difficulties() -> None:
    """D0 for the four grades."""
    assert [first(g)[1] for g in (1, 2, 3, 4)] == pytest.approx([6.4133, 5.112171, 2.118104, 1.0], abs=1e-6)


def test_six_third_grades_on_the_due_day() -> None:
    """Stabilities and intervals of six third grades, each on its due day, without steps within a day."""
    plain = scheduler(learning_steps=(), relearning_steps=())
    item, at = fsrs.Card(1, due=START), START
    stabilities, intervals = [], []
    for _ in range(6):
        item, _ = plain.review_card(item, fsrs.Rating.Good, at)
        stabilities.append(item.stability)
        intervals.append((item.due - at).days)
        at = item.due
    assert stabilities == pytest.approx([2.3065, 10.9643, 46.2802, 162.8622, 497.4472, 1345.5288], abs=1e-4)
    assert intervals == [2, 11, 46, 163, 497, 1346]


def test_a_late_third_grade_and_a_late_first() -> None:
    """Third grade, then 10 days late the third: R = 0.7744, S = 25.1087; the first instead: S = 0.7592, D = 7.3945."""
    s, d = first(3)
    assert kept(10, s) == pytest.approx(0.7744, abs=1e-4)
    assert step(s, d, 3, 10)[0] == pytest.approx(25.1087, abs=1e-4)
    assert step(s, d, 1, 10) == pytest.approx((0.7592, 7.3945), abs=1e-4)
    assert step(s, d, 3, 2)[0] == pytest.approx(10.964332, abs=1e-6)


def test_upstreams_intervals() -> None:
    """py-fsrs v6.3.1 tests/test_basic.py: thirteen grades on their due days, with its default steps."""
    item, at, intervals = fsrs.Card(1, due=START), START, []
    for grade in (3, 3, 3, 3, 3, 3, 1, 1, 3, 3, 3, 3, 3):
        item, _ = scheduler().review_card(item, fsrs.Rating(grade), at)
        intervals.append((item.due - at).days)
        at = item.due
    assert intervals == [0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21]


def test_upstreams_memory_state() -> None:
    """py-fsrs v6.3.1 tests/test_basic.py: the first grade, then five thirds after 0, 1, 3, 8 and 21 days."""
    item, at = fsrs.Card(1, due=START), START
    for grade, days in zip((1, 3, 3, 3, 3, 3), (0, 0, 1, 3, 8, 21), strict=True):
        at += timedelta(days=days)
        item, _ = scheduler().review_card(item, fsrs.Rating(grade), at)
    assert (item.stability, item.difficulty) == pytest.approx((53.62691, 6.3574867), abs=1e-4)


def test_the_formulas_written_out_equal_the_package() -> None:
    """On 200 random histories, same-day grades among them, stability and difficulty agree to 1e-9."""
    chance = random.Random(6)
    plain = scheduler(learning_steps=(), relearning_steps=())
    for _ in range(200):
        item, at = fsrs.Card(1, due=START), START
        s = d = 0.0
        for n in range(8):
            days = chance.choice([0, 0, 1, 2, 5, 13, 60]) if n else 0
            grade = chance.randint(1, 4)
            at += timedelta(days=days)
            item, _ = plain.review_card(item, fsrs.Rating(grade), at)
            s, d = step(s, d, grade, days) if n else first(grade)
            assert (item.stability, item.difficulty) == pytest.approx((s, d), rel=1e-9)


def test_our_memory_follows_the_formulas() -> None:
    """On 200 random histories of local days our memory and recall are those of the formulas, twice the same."""
    chance = random.Random(21)
    for _ in range(200):
        today, memory, s, d = date(2026, 1, 1), None, 0.0, 0.0
        for n in range(8):
            days = chance.randint(1, 30) if n else 0
            grade = chance.randint(1, 4)
            today += timedelta(days=days)
            again = after(memory, "two-lamps", today, VERDICTS[grade - 1])
            memory = after(memory, "two-lamps", today, VERDICTS[grade - 1])
            s, d = step(s, d, grade, days) if n else first(grade)
            assert again == memory
            assert (memory.stability, memory.difficulty) == pytest.approx((s, d), rel=1e-9)
            late = chance.randint(0, 90)
            assert recall(memory, today + timedelta(days=late)) == pytest.approx(kept(late, s), rel=1e-9)


def test_our_steps_are_the_packages() -> None:
    """On 300 random histories of days our stability, difficulty, intervals and recall are those of the package."""
    chance = random.Random(36)
    plain = scheduler(learning_steps=(), relearning_steps=(), maximum_interval=36500)
    for _ in range(300):
        item, at, s, d = fsrs.Card(1, due=START), START, 0.0, 0.0
        for n in range(10):
            days, grade = chance.choice([1, 1, 2, 5, 13, 60, 400]), chance.randint(1, 4)
            at += timedelta(days=days)
            item, _ = plain.review_card(item, fsrs.Rating(grade), at)
            s, d = graded(s, d, grade, days) if n else first_graded(grade)
            assert (s, d) == pytest.approx((item.stability, item.difficulty), rel=1e-9)
            assert min(max(round(s), 1), 36500) == (item.due - at).days
            memory = Memory("a", at.date(), at.date(), 1, s, d, at.date(), "held", None)
            later = at + timedelta(days=chance.randint(0, 90))
            expected = plain.get_card_retrievability(item, later)
            assert recall(memory, later.date()) == pytest.approx(expected, rel=1e-9)


# The package's traps, from its source: the reasons why memory.py hands it midnights of local days


def test_the_package_counts_whole_days() -> None:
    """Its recall is 1 all through the first 24 hours and 0 for a thing never graded."""
    item = fsrs.Card(1, fsrs.State.Review, None, 2.3065, 5.0, START, START)
    assert scheduler().get_card_retrievability(item, START + timedelta(hours=23, minutes=59)) == 1.0
    assert scheduler().get_card_retrievability(item, START + timedelta(hours=24)) < 1.0
    assert scheduler().get_card_retrievability(fsrs.Card(1, due=START), START) == 0


def test_the_package_refuses_a_bare_time() -> None:
    """A datetime without zone is an error in it."""
    with pytest.raises(ValueError, match="timezone"):
        scheduler().review_card(fsrs.Card(1, due=START), fsrs.Rating(3), datetime(2026, 1, 1))
