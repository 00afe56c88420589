"""The steady tempo of players who learn and forget as published.

Sources
- Heathcote, Brown & Mewhort 2000, Psychon. Bull. Rev. 7:185-207: one learner's practice curve is exponential in the
  number of goes, T = A + B exp(-a N); T is a time, so here the seconds of a beat.
- Tatel & Ackerman, Psychol. Bull., doi 10.1037/bul0000481: half of what was gained is lost after about 6.5 months in
  accuracy, after about 13 in speed.
"""

import math
import random
from datetime import timedelta
from statistics import median

import pytest

from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.skill.history import memories
from coach.skill.memory import recall
from coach.skill.steady_tempo import own_prior, steady
from tests.bench.learners.player import Player, made
from tests.bench.learners.sessions import evenings
from tests.made_takes import TODAY, take


def drill() -> Drill:
    """A drill with two slots a beat."""
    return make_drills([Material("two-lamps", "Two lamps", "4/4", 8, 4)])[0]


def beat_s(day: int, first_s: float = 0.85, last_s: float = 0.60, rate: float = 0.08) -> float:
    """Seconds of the shortest beat held on a day of practice: exponential, from 71 to 100 bpm."""
    return last_s + (first_s - last_s) * math.exp(-rate * day)


@pytest.fixture(scope="module")
def learners() -> list[list[tuple[float, float, float]]]:
    """For each of 25 learners and each evening that had a figure: true bpm, figure, half of its range in ln."""
    found = []
    for seed in range(25):
        chance = random.Random(seed)
        ways = made(chance)
        days = evenings(lambda day, w=ways: Player(60 / beat_s(day), w.slope, w.lapses), drill(), 30, 2, 10, chance)
        found.append(
            [(p.steady_bpm, k.bpm, math.log(k.high / k.low) / 2) for p, k, _ in days if k is not None]
        )
    return found


def test_the_figure_follows_an_exponential_learner(learners) -> None:
    """Over thirty evenings of twenty passes it is in the median within 3 % of the truth."""
    assert median(abs(math.log(bpm / truth)) for days in learners for truth, bpm, _ in days) < 0.03


def test_it_does_not_run_ahead_of_the_learner(learners) -> None:
    """While the learner still gains it lags rather than leads: in the median it is no faster than the truth."""
    assert median(math.log(bpm / truth) for days in learners for truth, bpm, _ in days[:12]) < 0.005


def test_accuracy_is_thought_to_go_before_speed() -> None:
    """After 200 idle days what is thought lost of recall exceeds what is thought lost of tempo."""
    takes = [take("two-lamps", n, tempo=t, clean=c, stumbled=10 - c) for n in (3, 2, 1) for t, c in ((76, 9), (86, 6))]
    now, later = TODAY, TODAY + timedelta(200)
    memory = memories(takes)["two-lamps"]
    recall_lost = 1 - recall(memory, later) / recall(memory, now)
    before, after = (steady(takes, today=day, prior=own_prior(drill())) for day in (now, later))
    assert before is not None
    assert after is not None
    assert recall_lost > 0.1 > 1 - after.bpm / before.bpm
    assert after.low < before.low


def test_what_is_half_lost_in_speed_is_no_longer_claimed() -> None:
    """Thirteen months after the last pass, when half of the gain in speed is lost, no figure is shown."""
    takes = [take("two-lamps", n, tempo=t, clean=c, stumbled=10 - c) for n in (2, 1) for t, c in ((76, 9), (86, 6))]
    assert steady(takes, today=TODAY) is not None
    assert steady(takes, today=TODAY + timedelta(395)) is None
