"""How much a drill needs a turn today, as points with a reason each, and how easy it will feel.

The weights are ours, no source: they only order. What they order by is published: recall that is fading and the share
of clean passes count most (Duke, Simmons & Cash 2009), minutes played count for nothing.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from coach.practice.drills import Drill
from coach.practice.evidence import clean_share, was_held
from coach.practice.memory import Memory, is_due, memories, recall, state_word
from coach.practice.takes import FULL, Take
from coach.practice.tempos import last_held

LATEST_TAKES = 3
FRESH_DAYS = 3


@dataclass(frozen=True)
class Reason:
    """Points towards a turn today, and why in plain words."""

    points: float
    text: str


@dataclass(frozen=True)
class View:
    """One drill as it stands on a local day, from its own takes in order; `rung` is its place in ladder order."""

    drill: Drill
    rung: int
    takes: tuple[Take, ...]
    memory: Memory | None
    today: date

    @cached_property
    def known(self) -> bool:
        """True once a take was begun."""
        return bool(self.takes)

    @cached_property
    def begun_today(self) -> bool:
        """True when its first take was today."""
        return self.known and self.takes[0].local_day >= self.today

    @cached_property
    def held_before(self) -> bool:
        """True when it was held at the full layer on an earlier local day."""
        return any(t.local_day < self.today and t.layer == FULL and was_held(t) for t in self.takes)

    @cached_property
    def held_bpm(self) -> float | None:
        """The tempo last held clean at the full layer."""
        return last_held(self.takes)

    @cached_property
    def share(self) -> float | None:
        """Share of clean passes in the latest takes."""
        return clean_share(self.takes[-LATEST_TAKES:])

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
        return max((self.today - self.takes[-1].local_day).days, 0) if self.takes else None

    @cached_property
    def gap(self) -> float:
        """How far below its target it was last held, as a share of the target (1 when never, 0 when there)."""
        held = self.held_bpm
        return 1.0 if held is None else max(0.0, 1 - held / self.drill.target_bpm)


def views_of(drills: Sequence[Drill], takes: Iterable[Take], today: date) -> list[View]:
    """Each drill as it stands today, in the order given; takes of other drills are left aside."""
    ids = {d.id for d in drills}
    ordered = sorted((t for t in takes if t.drill in ids), key=lambda t: (t.at, t.id))
    own: dict[str, list[Take]] = defaultdict(list)
    for take in ordered:
        own[take.drill].append(take)
    memory = memories(ordered)
    return [View(d, i, tuple(own.get(d.id, ())), memory.get(d.id), today) for i, d in enumerate(drills)]


def reasons(view: View, extra: Sequence[Reason] = ()) -> tuple[Reason, ...]:
    """Everything that speaks for a turn of a drill with takes, the weightiest first; `extra` comes from outside."""
    found = list(extra)
    now = view.recall
    if now is not None:
        found.append(Reason(3 * (1 - now), f"recall now about {now:.0%}"))
    if view.memory is not None and view.due:
        late = (view.today - view.memory.due).days
        found.append(Reason(1.0, "due today" if late == 0 else f"due for {_days(late)}"))
    if view.held_bpm is None:
        found.append(Reason(1.5, f"not yet held; the target is {view.drill.target_bpm} bpm"))
    elif view.gap > 0.005:
        text = f"held at {view.held_bpm:.0f}, {view.gap:.0%} below its target of {view.drill.target_bpm} bpm"
        found.append(Reason(1.5 * view.gap, text))
    share = view.share
    if share is not None and share < 1:
        found.append(Reason(1.5 * (1 - share), f"{share:.0%} of its latest passes were clean"))
    if view.days_since:
        found.append(Reason(0.5 * min(view.days_since, 21) / 21, f"last played {_days(view.days_since)} ago"))
    if view.memory is not None and 0 < (age := (view.today - view.memory.first_day).days) <= FRESH_DAYS:
        found.append(Reason(0.5, f"begun {_days(age)} ago: fresh things need another night"))
    return tuple(sorted(found, key=lambda r: -r.points))


def need(view: View, extra: Sequence[Reason] = ()) -> float:
    """The points of all reasons together. Minutes and counts of takes do not enter."""
    return math.fsum(r.points for r in reasons(view, extra))


def ease(view: View) -> float:
    """How playable the drill is right now, 0 to 1: recalled, clean, and near its target; 0 when never held."""
    if view.held_bpm is None:
        return 0.0
    now, share = view.recall, view.share
    return (1.0 if now is None else now) * (1.0 if share is None else share) * (1 - view.gap / 2)


def _days(n: int) -> str:
    return "1 day" if n == 1 else f"{n} days"
