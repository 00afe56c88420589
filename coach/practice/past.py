"""A drill's past: all that a plan needs to know of its takes, folded day by day, so that they need not be read again.

Takes of one drill come in the order they began; those of one local day are folded together, since only its first ones
are graded (memory.py). What is folded from all takes at once or from a past and what came later is the same.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import groupby

from coach.practice.evidence import HELD, clean_share, held_tempo, standing
from coach.practice.keeping import keeping, returned
from coach.practice.memory import LONGEST_INTERVAL_DAYS, Memory, after, day_grade
from coach.practice.takes import FULL, THUMB, Take
from coach.practice.voices import as_counted

LATELY = timedelta(days=28)
"""How long a held tempo is believed without being shown again (ours, no source)."""
LATEST_TAKES = 3
CURVE_DAYS = 12


@dataclass(frozen=True, slots=True)
class OnLayer:
    """What the takes say of one layer.

    standing  of the latest take begun on it that says anything, one of VERDICTS
    slowest   bpm of the slowest pass of such takes; `told` the slowest of their own tempos
    held      bpm latest held on it
    kept      (moment, bpm) of every tempo held lately and not lost since
    """

    standing: str | None = None
    slowest: float | None = None
    told: float | None = None
    held: float | None = None
    kept: tuple[tuple[datetime, float], ...] = ()

    @property
    def bpm(self) -> float | None:
        """The tempo in bpm held clean lately and not lost since; None when never held.

        The fastest of the last four weeks of playing the drill, not simply the latest: a warm-up is slow on purpose
        and must not pull the next block down, day after day. A later take that was not held takes back what was held
        at its tempo or faster. When nothing of the four weeks is left, the latest ever held stands.
        """
        return max((bpm for _, bpm in self.kept), default=self.held)


@dataclass(frozen=True, slots=True)
class Past:
    """One drill's takes in short.

    first_day, last_day, last_at   of its first and latest take
    held_day    the first local day it was held at the full layer, None before
    latest      (clean share, how many passes) of its latest three takes, (0, 0) where nothing was counted
    full, thumb what the takes say of these layers
    curve       (local day, bpm held at its end) of the latest days of practice on which there was a held tempo
    memory      None while nothing was graded
    returns     days away, clean and all of the first passes after them, by threes in order of days (keeping.py)
    """

    first_day: date
    last_day: date
    last_at: datetime
    held_day: date | None = None
    latest: tuple[tuple[float, float], ...] = ()
    full: OnLayer = OnLayer()
    thumb: OnLayer = OnLayer()
    curve: tuple[tuple[date, float], ...] = ()
    memory: Memory | None = None
    returns: tuple[int, ...] = ()

    @property
    def share(self) -> float | None:
        """The share of clean passes in the latest takes, 0 to 1; None where nothing was counted."""
        weight = math.fsum(w for _, w in self.latest)
        return math.fsum(clean for clean, _ in self.latest) / weight if weight else None


def after_day(past: Past | None, takes: Sequence[Take]) -> Past:
    """The past after more takes of one drill and one local day, in order and later than all before."""
    takes = [as_counted(take) for take in takes]
    day, newest = takes[0].local_day, takes[-1]
    found = past or Past(day, day, newest.at)
    told = returned((day - found.last_day).days, found.full.bpm, takes)
    words = [standing((t,)) for t in takes]
    full, thumb = (_on(layer, name, takes, words) for layer, name in ((found.full, FULL), (found.thumb, THUMB)))
    held_day = found.held_day
    if any(t.layer == FULL and word in HELD for t, word in zip(takes, words, strict=True)):
        held_day = day if held_day is None else min(held_day, day)
    memory = found.memory
    grade = day_grade(takes, memory is not None and memory.first_held is not None)
    if grade is not None:
        memory = after(memory, newest.drill, day, grade)
    curve = found.curve
    if full.bpm is not None:
        curve = (*(one for one in curve if one[0] != day), (day, full.bpm))[-CURVE_DAYS:]
    return replace(
        found,
        first_day=min(found.first_day, day),
        last_day=day,
        last_at=newest.at,
        held_day=held_day,
        latest=(*found.latest, *(_counted(t) for t in takes))[-LATEST_TAKES:],
        full=full,
        thumb=thumb,
        curve=curve,
        memory=memory,
        returns=found.returns if told is None else _with((day - found.last_day).days, told, found.returns),
    )


def _with(gap: int, told: tuple[int, int], returns: tuple[int, ...]) -> tuple[int, ...]:
    by_gap = {gap: counts for gap, *counts in zip(returns[::3], returns[1::3], returns[2::3], strict=True)}
    clean, total = by_gap.get(gap, (0, 0))
    by_gap[gap] = [clean + told[0], total + told[1]]
    return tuple([n for gap in sorted(by_gap) for n in (gap, *by_gap[gap])])


def returns_of(pasts: Iterable[Past]) -> dict[int, tuple[int, int]]:
    """All returns of a player: days away, and (clean, all) of the first passes after them."""
    found: dict[int, tuple[int, int]] = {}
    for past in pasts:
        for gap, clean, total in zip(past.returns[::3], past.returns[1::3], past.returns[2::3], strict=True):
            before = found.get(gap, (0, 0))
            found[gap] = (before[0] + clean, before[1] + total)
    return found


def past_of(takes: Iterable[Take], before: Past | None = None) -> Past | None:
    """The past of one drill from its takes, in whatever order they come, all later than what is in `before`."""
    past = before
    for _, played in groupby(sorted(takes, key=lambda t: (t.at, t.id)), key=lambda t: t.local_day):
        past = after_day(past, tuple(played))
    return past


def pasts_of(takes: Iterable[Take]) -> dict[str, Past]:
    """Every drill's past from all takes, in whatever order they come. A pure function of them.

    Due days are no later than this player's own returns allow (keeping.py).
    """
    own: dict[str, list[Take]] = defaultdict(list)
    for take in takes:
        own[take.drill].append(take)
    folded = ((drill, past_of(played)) for drill, played in own.items())
    found = {drill: past for drill, past in folded if past is not None}
    wait = keeping(returns_of(found.values())).wait
    if wait == LONGEST_INTERVAL_DAYS:
        return found
    return {drill: hastened(past, wait) for drill, past in found.items()}


def hastened(past: Past, wait: int) -> Past:
    """The past with its memory due after `wait` days at the latest."""
    memory = past.memory
    if memory is None or (memory.due - memory.last_day).days <= wait:
        return past
    return replace(past, memory=replace(memory, due=memory.last_day + timedelta(days=wait)))


def memories(takes: Iterable[Take]) -> dict[str, Memory]:
    """Every drill's memory from all takes, in whatever order they come."""
    return {drill: past.memory for drill, past in pasts_of(takes).items() if past.memory is not None}


def _counted(take: Take) -> tuple[float, float]:
    share = clean_share((take,))
    if share is None:
        return 0.0, 0.0
    weight = float(len(take.passes) or 1)
    return share * weight, weight


def _on(before: OnLayer, layer: str, takes: Sequence[Take], words: Sequence[str | None]) -> OnLayer:
    stands, slowest, told, held = before.standing, before.slowest, before.told, before.held
    kept = {bpm: at for at, bpm in before.kept}
    for take, word in zip(takes, words, strict=True):
        if take.layer == layer and word is not None:
            stands = word
            told = min(told or math.inf, take.tempo)
            slowest = min((bpm for bpm in (slowest, *(p.tempo for p in take.passes)) if bpm is not None), default=None)
        bpm = held_tempo(take, layer, word in HELD)
        if bpm is None:
            lost = _lost_tempo(take, layer, word)
            if kept and lost < math.inf:
                kept = {b: at for b, at in kept.items() if b < lost}
        else:
            held, kept[bpm] = bpm, take.at
    since = takes[-1].at - LATELY
    order = sorted((at, bpm) for bpm, at in kept.items() if at >= since)
    return OnLayer(stands, slowest, told, held, tuple(order))


def _lost_tempo(take: Take, layer: str, word: str | None) -> float:
    """The mean tempo of a take's stumbled passes; infinite when it says nothing of the layer."""
    stumbled = [p.tempo for p in take.passes if p.layer == layer and not p.clean]
    if stumbled:
        return math.fsum(stumbled) / len(stumbled)
    told = not take.passes and take.layer == layer and word is not None
    return take.tempo if told else math.inf
