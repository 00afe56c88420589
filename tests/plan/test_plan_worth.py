"""What the plan is worth on learners by published curves (tests/bench/bench_plan.py measures it at length)."""

import math
import random
import subprocess
import sys
from dataclasses import replace

import pytest

from tests.bench.bench_plan import interval, ratio
from tests.bench.learners.law import KINDS, Learner, Skill, Thing
from tests.bench.learners.months import BASELINES, Left, months, the_coach

PLAIN = replace(KINDS[0], kin=0.0, massed=math.inf, night=0.0)
THING = Thing("two-lamps", "two-lamps", None, 66, 104)


def test_the_plan_holds_more_targets_than_any_plain_one() -> None:
    """Three learners, forty drills, 36 evenings, a month of silence: more targets held than by each of the four."""
    sizes = {"drills": 40, "days": 36}
    coach = sum(months(KINDS[0], the_coach, seed, **sizes).held for seed in range(3))
    for planner in BASELINES.values():
        assert coach > sum(months(KINDS[0], planner, seed, **sizes).held for seed in range(3))


def test_the_same_learner_and_planner_come_out_the_same() -> None:
    """A seed is a learner: twice the same."""
    one, two = (months(KINDS[1], the_coach, 3, drills=8, days=6) for _ in range(2))
    assert one == two


def test_learners_know_nothing_of_the_coach() -> None:
    """Their law imports nothing from the practice room."""
    code = "import sys, tests.bench.learners.law; assert not [m for m in sys.modules if m.startswith('coach')]"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_a_learner_loses_half_of_the_speed_in_thirteen_months() -> None:
    """Half of the gain in speed is gone after 395 days, half of that in accuracy after 195 (Tatel & Ackerman)."""
    skill = Skill(THING, PLAIN, random.Random(1), 0.01, 1.0)
    skill.learn(400)
    gained, accuracy = skill.first_s - skill.left_s, 1.0
    skill.accuracy = accuracy
    for _ in range(195):
        skill.fade()
    assert skill.accuracy == pytest.approx((1 + 0.4) / 2, rel=1e-6)
    for _ in range(200):
        skill.fade()
    assert skill.first_s - skill.left_s == pytest.approx(gained / 2, rel=1e-6)


def test_a_learner_follows_the_exponential_and_another_the_power_law() -> None:
    """T - A falls by the same share with each pass (Heathcote et al. 2000), or ever less (Newell & Rosenbloom 1981)."""
    for law, same in (("exponential", True), ("power", False)):
        skill = Skill(THING, replace(PLAIN, law=law), random.Random(1), 0.01, 1.0)
        shares = []
        for _ in range(3):
            before = skill.left_s
            skill.learn(50)
            shares.append(skill.left_s / before)
        assert (max(shares) - min(shares) < 1e-9) == same
        assert shares == sorted(shares) or same


def test_a_night_brings_what_the_evening_did_not_show() -> None:
    """Half of an evening's worth shows after sleep (Simmons 2012); less, if a near-alike thing followed (Allen)."""
    kind = replace(KINDS[0], kin=0.0)
    found = {}
    for followed in (False, True):
        other = Thing("rope-and-bell", "two-lamps", "two-lamps", 66, 104)
        learner = Learner(kind, [THING, other], 4)
        for _ in range(20):
            learner.plays("two-lamps", 70)
        if followed:
            learner.plays("rope-and-bell", 70)
        evening = learner.skills["two-lamps"].shown_bpm
        learner.sleeps()
        found[followed] = learner.skills["two-lamps"].shown_bpm / evening
    assert found[False] > found[True] > 1


def test_the_ratio_and_its_interval_by_hand() -> None:
    """Every learner 6 held to 4: the ratio is 1.5 however they are drawn."""
    row = {"the coach": Left(6, 0.9, 6), **{name: Left(4, 0.9, 4) for name in BASELINES}}
    assert ratio([row] * 5) == 1.5
    assert interval([row] * 5) == (1.5, 1.5)
