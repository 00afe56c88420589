"""How practice has gone, as values: steady tempo and clean share by day, what is kept up and what fades.

The steady tempo of a day is what was known at its end, from the drill's own passes up to then. What fades is told by
recall a week from now. Nothing is claimed that the passes do not bear out: a day without a figure has none.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from coach.drills.loop_map import LoopMap, Place
from coach.drills.pattern_drills import Drill
from coach.log.takes import Stumble, Take
from coach.skill.diagnosis import lately
from coach.skill.history import memories
from coach.skill.memory import Memory, recall, state_word
from coach.skill.pass_counts import MOST_DAYS, days_of
from coach.skill.remedies import Finding
from coach.skill.steady_tempo import SteadyTempo, evidence_of, known, own_prior

MOST_FIGURES = 48
A_WEEK = timedelta(7)


@dataclass(frozen=True)
class Standing:
    """One drill in the list: its steady tempo if known, state word, recall today and in a week, when last played."""

    drill: Drill
    steady: SteadyTempo | None
    state: str
    now: float | None
    later: float | None
    last_day: date | None

    @property
    def fading(self) -> float:
        """How much of recall will have gone in a week."""
        return 0.0 if self.now is None or self.later is None else self.now - self.later


@dataclass(frozen=True)
class Sheet:
    """All there is to see of one drill.

    figures   (day, steady tempo known at its end), thinned out to MOST_FIGURES days
    clean     (day, clean passes, all passes) of each day played
    counts    stumbles of the latest takes (diagnosis.lately) by place; `passes` how many passes those had
    loop      the map of its loop, None when its pattern or chords cannot be read
    """

    standing: Standing
    figures: tuple[tuple[date, SteadyTempo], ...]
    clean: tuple[tuple[date, int, int], ...]
    counts: Counter[Place]
    passes: int
    loop: LoopMap | None
    finding: Finding


def by_drill(takes: Iterable[Take]) -> dict[str, list[Take]]:
    """Takes in order, by drill."""
    found: dict[str, list[Take]] = defaultdict(list)
    for take in sorted(takes, key=lambda t: (t.at, t.id)):
        found[take.drill].append(take)
    return dict(found)


def standings(
    drills: Sequence[Drill],
    takes: Mapping[str, Sequence[Take]],
    steady: Mapping[str, SteadyTempo],
    today: date,
    remembered: Mapping[str, Memory | None] | None = None,
) -> list[Standing]:
    """Every drill that was played, the latest played first; what is in no list of drills any more is left out.

    `remembered` gives each drill's memory where it is known already (estimates.py); else it comes from the takes.
    """
    if remembered is None:
        remembered = memories(t for own in takes.values() for t in own)
    found = [
        standing(drill, steady.get(drill.id), remembered.get(drill.id), takes[drill.id], today)
        for drill in drills
        if takes.get(drill.id)
    ]
    return sorted(found, key=lambda s: s.last_day or date.min, reverse=True)


def standing(
    drill: Drill, steady: SteadyTempo | None, memory: Memory | None, takes: Sequence[Take], today: date
) -> Standing:
    """One drill as it stands on a local day."""
    return Standing(
        drill,
        steady,
        state_word(memory, today),
        recall(memory, today),
        recall(memory, today + A_WEEK),
        max((t.local_day for t in takes), default=None),
    )


def thinned_out(days: Sequence[date], most: int) -> list[date]:
    """At most `most` of the days in order: the first, the last, and evenly between."""
    if len(days) <= most:
        return list(days)
    return [days[round(k * (len(days) - 1) / (most - 1))] for k in range(most)]


def figures(drill: Drill, takes: Iterable[Take], most: int = MOST_FIGURES) -> tuple[tuple[date, SteadyTempo], ...]:
    """The steady tempo at the end of each day played, from the drill's own passes; days without a figure left out."""
    played: dict[date, list[Take]] = defaultdict(list)
    for take in takes:
        played[take.local_day].append(take)
    days = sorted(played)
    place = {day: number for number, day in enumerate(days)}
    found = []
    for day in thinned_out(days, most):
        # Days before the latest sixteen never count (pass_counts.py).
        window = days[max(place[day] + 1 - MOST_DAYS, 0) : place[day] + 1]
        figure = known(evidence_of(days_of(t for d in window for t in played[d])), own_prior(drill))
        if figure is not None:
            found.append((day, figure))
    return tuple(found)


def clean_days(takes: Iterable[Take]) -> tuple[tuple[date, int, int], ...]:
    """(day, clean passes, all passes) of each day, in order; a take logged by hand is one, told by most bars."""
    found: dict[date, list[int]] = {}
    for take in takes:
        passes = [p.clean for p in take.passes] or ([take.stumbles * 2 < take.bars] if take.bars else [])
        if passes:
            sums = found.setdefault(take.local_day, [0, 0])
            sums[0] += sum(passes)
            sums[1] += len(passes)
    return tuple((day, clean, total) for day, (clean, total) in sorted(found.items()))


def sheet(
    stands: Standing,
    takes: Sequence[Take],
    stumbles: Sequence[Stumble],
    loop: LoopMap | None,
    found: Finding,
    today: date,
) -> Sheet:
    """Everything on one drill, from its own takes and stumbles."""
    recent = lately(takes, today)
    ids = {t.id for t in recent}
    counts = loop.counts(s for s in stumbles if s.take in ids) if loop is not None else Counter[Place]()
    return Sheet(
        stands,
        figures(stands.drill, takes),
        clean_days(takes),
        counts,
        sum(len(t.passes) for t in recent),
        loop,
        found,
    )


def week_words(takes: Iterable[Take], played: Mapping[date, float], today: date) -> str:
    """`This week: 96 minutes on 5 days, 41 takes.` The week is the seven days up to today; `played` has their minutes
    (playing_time.py)."""
    week = [t for t in takes if today - A_WEEK < t.local_day <= today]
    if not week:
        return "This week: nothing was played."
    minutes = math.fsum(played.get(today - timedelta(n), 0.0) for n in range(A_WEEK.days))
    days = len({t.local_day for t in week})
    return (
        f"This week: {_count(round(minutes), 'minute')} on {_count(days, 'day')}, {_count(len(week), 'take')}."
    )


def moved(
    drills: Sequence[Drill], takes: Mapping[str, Sequence[Take]], today: date
) -> list[tuple[Drill, float, float]]:
    """The drills whose steady tempo of a week ago and of now are both known and lie apart: (drill, bpm then, bpm now).

    Apart: neither figure lies within the other's range. The largest change first.
    """
    found = []
    for drill in drills:
        own = takes.get(drill.id, ())
        if not any(today - A_WEEK < t.local_day <= today for t in own):
            continue
        before = known(evidence_of(days_of(t for t in own if t.local_day <= today - A_WEEK)), own_prior(drill))
        after = known(evidence_of(days_of(own)), own_prior(drill))
        if before is None or after is None:
            continue
        if not before.low <= after.bpm <= before.high and not after.low <= before.bpm <= after.high:
            found.append((drill, before.bpm, after.bpm))
    return sorted(found, key=lambda one: -abs(math.log(one[2] / one[1])))


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
