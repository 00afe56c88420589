"""How much a drill needs a turn today, as points with a reason each, and how easy it will feel.

Two things earn points: what is fading, and what a turn is likely to bring. One learner's practice curve falls
exponentially towards its end (Heathcote, Brown & Mewhort 2000), so what is near its target and still gaining gets there
in few turns, while the same turns spent on everything at once get nothing there; hence the fewer days of practice are
left to a target, the more points. What is at its target only comes back when it is due. Minutes played count for
nothing, the share of clean passes does (Duke, Simmons & Cash 2009). The weights are ours, no source: they only order.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from statistics import linear_regression

from coach.drills.pattern_drills import Drill
from coach.music.ramps import OVER_TARGET
from coach.picking.layers import FULL
from coach.skill.history import Past
from coach.skill.memory import Memory, is_due, recall, state_word
from coach.skill.steady_tempo import SteadyOf, SteadyTempo

FRESH_DAYS = 3
OVER = OVER_TARGET - 1
"""A target is left alone only once its tempo is held so far past it: as far as the ramps go. In the three weeks until
it comes back and a month without practice after them about a twelfth of what was gained in speed and a sixth of what
was gained in accuracy is lost (half in 13 and in 6.5 months; Tatel & Ackerman, Psychol. Bull., doi
10.1037/bul0000481), and what was held with nothing to spare is then held no more."""
USUAL_GAIN = 0.02
"""Gain in ln tempo thought usual for a day of practice, until a drill has days of its own (ours, no source)."""
LEAST_GAIN = 0.002
GAIN_DAYS = 6
"""Days of practice from which on a drill's own gain is told (ours, no source); it is that of its latest eight."""
_LATEST_GAIN_DAYS = 8
LEVEL_DAYS = 8
"""Of so many days of practice, twelve at most, a gain of less than a tempo step in ten days is called none (ours, no
source). The first day against the last alone calls a slow climb level: single days are some 3 % off."""
FAR_DAYS = 20
"""A thing that at its own gain has more days of practice to go than this makes way for others, unless there is a day it
is wanted by. The gain only falls (Heathcote et al. 2000), so such a thing mostly ends below its target: on made-up
learners (tests/bench/bench_plan.py) each of those took two thirds more turns than one that got there."""
SOON_DAYS = 42


@dataclass(frozen=True)
class Reason:
    """Points towards a turn today, and why in plain words."""

    points: float
    text: str


@dataclass(frozen=True)
class View:
    """One drill as it stands on a local day; `rung` is its place in ladder order, `steady` None until known.

    `below` is the title of the drill it grows from, "" on a first rung.
    """

    drill: Drill
    rung: int
    past: Past | None
    today: date
    steady_of: SteadyOf | None = None
    below: str = ""

    @property
    def memory(self) -> Memory | None:
        """What of it is remembered, None while nothing was graded."""
        return self.past.memory if self.past is not None else None

    @cached_property
    def known(self) -> bool:
        """True once a take was begun."""
        return self.past is not None

    @cached_property
    def begun_today(self) -> bool:
        """True when its first take was today."""
        return self.past is not None and self.past.first_day >= self.today

    @cached_property
    def held_before(self) -> bool:
        """True when it was held at the full layer on an earlier local day."""
        return self.past is not None and self.past.held_day is not None and self.past.held_day < self.today

    @cached_property
    def steady(self) -> SteadyTempo | None:
        """The steady tempo at the full layer."""
        return self.steady_of(self.drill, FULL) if self.steady_of is not None and self.known else None

    @cached_property
    def bpm(self) -> float | None:
        """The tempo it is held at: the steady tempo where that is known, else the one last held clean."""
        if self.steady is not None:
            return self.steady.bpm
        return self.past.full.bpm if self.past is not None else None

    @cached_property
    def share(self) -> float | None:
        """Share of clean passes in the latest takes."""
        return self.past.share if self.past is not None else None

    @cached_property
    def recall(self) -> float | None:
        """Recall now."""
        return recall(self.memory, self.today)

    @cached_property
    def due(self) -> bool:
        """True when it should come back by today."""
        return is_due(self.memory, self.today)

    @cached_property
    def state(self) -> str:
        """`new`, `being learned` or `kept up`."""
        return state_word(self.memory, self.today)

    @cached_property
    def days_since(self) -> int | None:
        """Local days since the latest take."""
        return max((self.today - self.past.last_day).days, 0) if self.past is not None else None

    @cached_property
    def gap(self) -> float:
        """How far below its target it is held, as a share of the target (1 when never, 0 when there)."""
        return 1.0 if self.bpm is None else max(0.0, 1 - self.bpm / self.drill.target_bpm)

    @cached_property
    def finished(self) -> bool:
        """True when it was held on an earlier day and is held with something to spare, or at its target and no faster
        for days: from then on it only comes back when due. The passes say so, whatever the word for the last take."""
        if not self.held_before or self.bpm is None:
            return False
        over = self.bpm / self.drill.target_bpm
        return over >= 1 + OVER or (over >= 1 and (self.level or self.far_off))

    @cached_property
    def gain_known(self) -> bool:
        """True when it has days of practice enough to tell its gain from."""
        return self.past is not None and len(self.past.curve) >= GAIN_DAYS

    @cached_property
    def gain(self) -> float:
        """Gain in ln tempo a day of practice, from its latest days; the usual one where there are too few."""
        if self.past is None or not self.gain_known:
            return USUAL_GAIN
        return max(_slope(self._climb[-_LATEST_GAIN_DAYS:]), LEAST_GAIN)

    @cached_property
    def _long_gain(self) -> float | None:
        """The same over all the days of its curve; None where they are too few."""
        return _slope(self._climb) if len(self._climb) >= LEVEL_DAYS else None

    @cached_property
    def _climb(self) -> list[float]:
        """The ln tempo held at the end of each of its latest days of practice."""
        return [math.log(bpm) for _, bpm in self.past.curve] if self.past is not None else []

    @cached_property
    def level(self) -> bool:
        """True when its latest days of practice made it no faster: less than a tempo step in ten."""
        return self._long_gain is not None and self._long_gain < self.drill.step_share / 10

    @cached_property
    def far_off(self) -> bool:
        """True when its latest days of practice say that its target is too many of them away."""
        if self._long_gain is None or self.drill.due is not None:
            return False
        return self._left > FAR_DAYS * max(self._long_gain, LEAST_GAIN)

    @cached_property
    def stuck(self) -> bool:
        """True when its latest days of practice made it no faster, or too little, and it is not finished."""
        return (self.level or self.far_off) and not self.finished

    @cached_property
    def _left(self) -> float:
        """How far it is, in ln tempo, from being held with something to spare."""
        base = self.bpm if self.bpm is not None else self.drill.start_bpm
        return math.log(self.drill.target_bpm * (1 + OVER) / base)

    @cached_property
    def days_to_go(self) -> float:
        """Days of practice left until it is held with something to spare, at its own rate of gain, 1 at least."""
        return max(self._left / self.gain, 1.0)


def _slope(climb: Sequence[float]) -> float:
    """The gain in ln tempo a day of practice: the slope of the straight line nearest to all days (least squares)."""
    return linear_regression(range(len(climb)), climb).slope


def views_of(
    drills: Sequence[Drill], pasts: Mapping[str, Past], today: date, steady_of: SteadyOf | None = None
) -> list[View]:
    """Each drill as it stands today, in the order given."""
    titles = {drill.id: drill.title for drill in drills}
    return [
        View(d, i, pasts.get(d.id), today, steady_of, titles.get(d.grows_from or "", d.grows_from or ""))
        for i, d in enumerate(drills)
    ]


def reasons(view: View, extra: Sequence[Reason] = ()) -> tuple[Reason, ...]:
    """Everything that speaks for a turn of a drill with takes, the weightiest first; `extra` comes from outside."""
    all_reasons = [*extra, *by_date(view), *(Reason(points, text()) for points, text in _own(view))]
    return tuple(sorted(all_reasons, key=lambda r: -r.points))


def _own(view: View) -> list[tuple[float, Callable[[], str]]]:
    """Points with their words, which are made only for what is told: thousands of drills may be put in order."""
    points: list[tuple[float, Callable[[], str]]] = []
    memory = view.memory
    now, share = view.recall, view.share
    if now is not None:
        points.append((3 * (1 - now), lambda: f"recall now about {percent(now)}"))
    if memory is not None and view.due:
        late = (view.today - memory.due).days
        points.append((1.0, lambda: "due today" if late == 0 else f"due for {_days(late)}"))
    if not view.finished:
        points.append((3 / (1 + view.days_to_go / 5), lambda: _to_go(view)))
    if share is not None and share < 1:
        points.append((1.5 * (1 - share), lambda: f"{share:.0%} of its latest passes were clean"))
    since = view.days_since
    if since:
        points.append((0.5 * min(since, 21) / 21, lambda: f"last played {_days(since)} ago"))
    if memory is not None and 0 < (age := (view.today - memory.first_day).days) <= FRESH_DAYS:
        points.append((0.5, lambda: f"begun {_days(age)} ago: what is fresh comes back soon"))
    if view.stuck and view.past is not None:
        curve = view.past.curve
        points.append((-1.5, lambda: _held_up(view, curve)))
    return points


def _held_up(view: View, curve: Sequence[tuple[date, float]]) -> str:
    told = f"its latest {len(curve)} days of practice ({curve[0][1]:.0f}, then {curve[-1][1]:.0f})"
    if view.level:
        return f"no faster over {told}"
    return f"slow over {told}: at that gain more than {FAR_DAYS} days to its target, so others come first"


def _to_go(view: View) -> str:
    target = view.drill.target_bpm
    if view.bpm is None:
        return f"not yet held; the target is {target} bpm"
    if view.gap <= 0.005:
        short = view.bpm < target * (1 + OVER)
        why = f"with less than {OVER:.0%} to spare" if short else "but not on an earlier day yet"
        return f"held at {view.bpm:.0f}, its target of {target} bpm, {why}"
    told = f"held at {view.bpm:.0f}, {view.gap:.0%} below its target of {target} bpm"
    if view.gain_known and not view.stuck:
        days = _days(math.ceil(view.days_to_go))
        told += f": at its gain of {view.gain:.1%} a day of practice about {days} to go, or more"
    return told


def by_date(view: View) -> list[Reason]:
    """What a day to be ready by adds: the more, the fewer days are left for what is to be done."""
    if view.drill.due is None or (left := (view.drill.due - view.today).days) < 0:
        return []
    when = "wanted today" if left == 0 else f"wanted in {_days(left)}"
    tight = 1.0 if view.finished else min(2 * view.days_to_go / max(left, 1), 4.0)
    return [Reason(tight + (1.0 if left <= 7 else 0.0), when)] if left <= SOON_DAYS else []


def need(view: View, extra: Sequence[Reason] = ()) -> float:
    """The points of all reasons together. Minutes and counts of takes do not enter."""
    return math.fsum([*[r.points for r in (*extra, *by_date(view))], *[points for points, _ in _own(view)]])


def ease(view: View) -> float:
    """How playable the drill is right now, 0 to 1: recalled, clean, and near its target; 0 when never held."""
    if view.bpm is None:
        return 0.0
    now, share = view.recall, view.share
    return (1.0 if now is None else now) * (1.0 if share is None else share) * (1 - view.gap / 2)


def percent(chance: float) -> str:
    """A chance as a player reads it; one that is nearly sure is not called sure."""
    return f"{min(chance, 0.99):.0%}"


def _days(n: int) -> str:
    return "1 day" if n == 1 else f"{n} days"
