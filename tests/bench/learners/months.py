"""Sixty evenings of a made-up learner under one planner or another, thirty days of silence, and what is left then.

Only what is played is the planner's choice. Every planner has the same minutes, turns of the same length (the fixed
order its longer blocks), the same earned ramps, begun just below the steady tempo, which all are told alike: the
learner's true one, off by the error that the estimates have after some twenty passes (tests/outside/
test_steady_recovery.py). Takes are kept as the stage writes them.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.log.takes import Pass, Take
from coach.music.ramps import Earned
from coach.picking.layers import FULL, THUMB
from coach.plan.planner import PlanSettings, plan
from coach.plan.wishes import Wishes
from coach.skill.history import Past, hastened, past_of, returns_of
from coach.skill.memory import LONGEST_INTERVAL_DAYS, recall
from coach.skill.retention import keeping
from coach.skill.steady_tempo import SteadyTempo
from tests.bench.learners.law import Kind, Learner, Thing

FIRST_DAY = date(2026, 1, 1)
BARS, BEATS = 4, 4
_SETTLING_S = 20.0  # of each turn goes into listening, count-in and finding the place
_ERROR = 0.025


@dataclass(frozen=True)
class Turn:
    """What a planner asks for: a drill for some minutes, as a warm-up, or on the thumb alone."""

    drill: str
    minutes: float
    warm: bool = False
    layer: str = FULL


@dataclass
class Months:
    """A learner's time so far as planners may see it: never the skills themselves, only the steady tempos told."""

    drills: tuple[Drill, ...]
    minutes: int
    chance: random.Random
    day: int = 0
    pasts: dict[str, Past] = field(default_factory=dict)
    told: dict[str, SteadyTempo] = field(default_factory=dict)
    place: int = 0
    wait: int = LONGEST_INTERVAL_DAYS

    @property
    def today(self) -> date:
        """The local day."""
        return FIRST_DAY + timedelta(days=self.day)


Planner = Callable[[Months], Sequence[Turn]]


def _as_kept(state: Months) -> dict[str, Past]:
    """The pasts with due days no later than the learner's own returns allow, which are looked at every tenth day."""
    if state.day % 10 == 0:
        state.wait = keeping(returns_of(state.pasts.values())).wait
    if state.wait == LONGEST_INTERVAL_DAYS:
        return state.pasts
    return {id_: hastened(past, state.wait) for id_, past in state.pasts.items()}


def the_coach(state: Months, sing: bool = False) -> list[Turn]:
    """The planner under test."""
    now = datetime(2026, 1, 1, 18, tzinfo=UTC) + timedelta(days=state.day)
    made = plan(
        state.drills,
        (),
        now,
        state.minutes,
        PlanSettings(gently=False, listening=False),
        pasts=_as_kept(state),
        steady_of=lambda drill, layer: state.told.get(drill.id) if layer == FULL else None,
        wishes=Wishes(),
    )
    return [
        Turn(b.drill, b.minutes, b.kind == "warm-up", (b.layer or FULL) if sing else FULL)
        for b in made.blocks
        if b.drill is not None
    ]


def the_coach_singing(state: Months) -> list[Turn]:
    """The planner under test, its singing turns sung: they are not meant for the tempo and cost it."""
    return the_coach(state, sing=True)


def _turns(state: Months) -> int:
    return max(round(state.minutes / 3), 1)


def fixed_blocks(state: Months) -> list[Turn]:
    """Ladder order, one block of five minutes each, going on where it stopped the day before, round and round."""
    blocks = max(round(state.minutes / 5), 1)
    found = [state.drills[(state.place + n) % len(state.drills)].id for n in range(blocks)]
    state.place += blocks
    return [Turn(id_, state.minutes / blocks) for id_ in found]


def random_order(state: Months) -> list[Turn]:
    """Any drill, at random, turn by turn; never one twice in a row."""
    found: list[str] = []
    for _ in range(_turns(state)):
        found.append(state.chance.choice([d.id for d in state.drills if not found or d.id != found[-1]]))
    return [Turn(id_, state.minutes / len(found)) for id_ in found]


def longest_unplayed(state: Months) -> list[Turn]:
    """Always the one not played for longest, what was never played first, in ladder order."""
    order = sorted(state.drills, key=lambda d: (p.last_at.timestamp() if (p := state.pasts.get(d.id)) else 0.0))
    turns = _turns(state)
    return [Turn(order[n % len(order)].id, state.minutes / turns) for n in range(turns)]


def recall_first(state: Months) -> list[Turn]:
    """What is least likely to be recalled first; something new, in ladder order, where all are recalled 9 in 10."""

    def kept(drill: Drill) -> float:
        past = state.pasts.get(drill.id)
        now = recall(past.memory, state.today) if past is not None else None
        return 0.9 if past is None else 0.0 if now is None else now

    turns = _turns(state)
    order = sorted(state.drills, key=kept)[: max(turns // 2, 1)]
    return [Turn(order[n % len(order)].id, state.minutes / turns) for n in range(turns)]


def four_at_a_time(state: Months) -> list[Turn]:
    """Not among the four to beat: the lowest four of the ladder that are not yet held past their targets, in turn."""
    far = [d for d in state.drills if not (s := state.told.get(d.id)) or s.bpm < 1.05 * d.target_bpm]
    order = (far or list(state.drills))[:4]
    turns = _turns(state)
    return [Turn(order[n % len(order)].id, state.minutes / turns) for n in range(turns)]


COACH: dict[str, Planner] = {"the coach": the_coach, "the coach, singing": the_coach_singing}
BASELINES: dict[str, Planner] = {
    "fixed order in blocks": fixed_blocks,
    "random order": random_order,
    "longest not played": longest_unplayed,
    "recall first": recall_first,
}
FOR_COMPARISON: dict[str, Planner] = {"four at a time": four_at_a_time}


@dataclass(frozen=True)
class Left:
    """After the silence: how many targets are held, the mean share of the target, and how many were held before it."""

    held: int
    share: float
    before: int


def repertoire(count: int, seed: int) -> tuple[Drill, ...]:
    """Drills in ladders of four to six rungs, paces mixed."""
    chance = random.Random(seed)
    found, n = [], 0
    while n < count:
        pace = chance.choice((1, 2, 2, 2, 3))
        for rung in range(min(chance.randint(4, 6), count - n)):
            below = f"d{n - 1}" if rung else None
            found.append(Material(f"d{n}", f"D {n}", "4/4", 4 * pace, 4, below, (), n + rung * 5 + chance.random() * 9))
            n += 1
    return make_drills(found)


def months(
    kind: Kind, planner: Planner, seed: int, *, drills: int = 24, minutes: int = 20, days: int = 60, silent: int = 30
) -> Left:
    """One learner under one planner; the same seed is the same learner and repertoire for each planner."""
    work = repertoire(drills, seed)
    things = [Thing(d.id, d.family, d.grows_from, d.start_bpm, d.target_bpm) for d in work]
    learner = Learner(kind, things, seed)
    state = Months(work, minutes, random.Random(seed + 1))
    by_id = {d.id: d for d in work}
    for day in range(days):
        state.day = day
        played: dict[str, list[Take]] = {}
        at = datetime(2026, 1, 1, 18, tzinfo=UTC) + timedelta(days=day)
        for n, turn in enumerate(planner(state)):
            take = _play(learner, by_id[turn.drill], turn, state, at + timedelta(minutes=3 * n), n)
            played.setdefault(turn.drill, []).append(take)
        learner.sleeps()
        for id_, takes in played.items():
            past = past_of(takes, state.pasts.get(id_))
            assert past is not None
            state.pasts[id_] = past
            off = math.exp(state.chance.gauss(0, _ERROR))
            bpm = learner.steady_bpm(id_) * off
            state.told[id_] = SteadyTempo(bpm, bpm * 0.97, bpm * 1.03, 20, bpm * 1.01)
    before = sum(_held(learner, t) for t in things)
    for _ in range(silent):
        learner.sleeps()
    share = sum(min(learner.steady_bpm(t.id) / t.target_bpm, 1.0) for t in things) / len(things)
    return Left(sum(_held(learner, t) for t in things), share, before)


def _held(learner: Learner, thing: Thing) -> bool:
    return learner.clean_chance(thing.id, thing.target_bpm) >= 0.8


def _play(learner: Learner, drill: Drill, turn: Turn, state: Months, at: datetime, number: int) -> Take:
    known = state.told.get(drill.id)
    base = known.bpm * 0.96 if known else float(drill.start_bpm)
    whole = turn.layer == FULL
    if turn.warm and known:
        base *= 0.88  # as the coach's own warm-up: from 20 to 4 % below
    bpm = Fraction(round(base * 10), 10)
    ramp = Earned(bpm, Fraction(drill.target_bpm), drill.step_share)
    left, done = turn.minutes * 60 - _SETTLING_S, []
    while left > 0:
        left -= 60 * BARS * BEATS / float(bpm)
        clean = learner.plays(drill.id, float(bpm), whole)
        done.append(Pass(len(done) + 1, float(bpm), BARS, int(not clean), clean, FULL if whole else THUMB))
        if not turn.warm:
            bpm = ramp.after_pass(bpm, clean)
    share = sum(p.clean for p in done) / len(done)
    return Take(
        f"{state.day:04}-{number:02}",
        at,
        state.today,
        drill.id,
        max(p.tempo for p in done),
        BARS * len(done),
        sum(p.stumbles for p in done),
        learner.word(share),
        FULL if whole else THUMB,
        "play",
        tuple(done),
    )
