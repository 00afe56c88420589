"""A drill's past: all that a plan needs to know of its takes, folded day by day, so that they need not be read again.

Takes of one drill come in the order they began; those of one local day are folded together, since only its first ones
are graded (memory.py). What is folded from all takes at once or from a past and what came later is the same.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any, NamedTuple

from coach.log.local_days import from_microseconds, microseconds
from coach.log.takes import Take
from coach.picking.layers import FULL, THUMB
from coach.skill.evidence import HELD, counted, held_tempo, lost_tempo, stands_alone
from coach.skill.memory import LONGEST_INTERVAL_DAYS, Memory, after_grade, day_grade, graded_of, memory_of
from coach.skill.retention import keeping, returned
from coach.skill.take_summary import TakeSummary, summarize_counted

LATELY = timedelta(days=28)
"""How long a held tempo is believed without being shown again (ours, no source)."""
LATEST_TAKES = 3
CURVE_DAYS = 12


class OnLayer(NamedTuple):
    """What the takes say of one layer.

    standing  of the latest take begun on it that says anything, one of VERDICTS
    slowest   bpm of the slowest pass of such takes; `told` the slowest of their own tempos
    held      bpm latest held on it
    kept      (moment, bpm) of every tempo held lately and not lost since; moments in microseconds since 1970
    """

    standing: str | None = None
    slowest: float | None = None
    told: float | None = None
    held: float | None = None
    kept: tuple[tuple[int, float], ...] = ()

    @property
    def bpm(self) -> float | None:
        """The tempo in bpm held clean lately and not lost since; None when never held.

        The fastest of the last four weeks of playing the drill, not simply the latest: a warm-up is slow on purpose
        and must not pull the next block down, day after day. A later take that was not held takes back what was held
        at its tempo or faster. When nothing of the four weeks is left, the latest ever held stands.
        """
        return max((bpm for _, bpm in self.kept), default=self.held)


class Past(NamedTuple):
    """One drill's takes in short.

    first_day, last_day, last_at   of its first and latest take
    held_day    the first local day it was held at the full layer, None before
    latest      (clean share, how many passes) of its latest three takes, (0, 0) where nothing was counted
    full, thumb what the takes say of these layers
    curve       (local day, bpm held at its end) of the latest days of practice on which there was a held tempo
    memory      None while nothing was graded
    returns     days away, clean and all of the first passes after them, by threes in order of days (retention.py)
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


class _Layer:
    """What the takes say of one layer, as they come (see OnLayer); `kept` gives the moment of each tempo held, in order
    of moments."""

    __slots__ = ("held", "kept", "name", "slowest", "stands", "told")

    def __init__(self, name: str, before: OnLayer) -> None:
        self.name = name
        self.stands, self.slowest, self.told, self.held = before.standing, before.slowest, before.told, before.held
        self.kept = {bpm: from_microseconds(at) for at, bpm in before.kept}

    def take(self, take: TakeSummary, word: str | None) -> None:
        """Count in one more take, which stands at `word` by itself."""
        here = take.layer == self.name
        if here and word is not None:
            self.stands = word
            if self.told is None or take.tempo < self.told:
                self.told = take.tempo
            if take.tempos:
                slowest = min(take.tempos)
                if self.slowest is None or slowest < self.slowest:
                    self.slowest = slowest
        bpm = held_tempo(take, self.name, word in HELD)
        if bpm is not None:
            self.kept.pop(bpm, None)
            self.held, self.kept[bpm] = bpm, take.at
        elif self.kept:
            lost = lost_tempo(take, self.name)
            if lost is None and here and word is not None and not take.tempos:
                lost = take.tempo
            if lost is not None:
                self.kept = {bpm: at for bpm, at in self.kept.items() if bpm < lost}

    def on(self, last: datetime) -> OnLayer:
        """What is known after the take that began at `last`."""
        kept = tuple(sorted([(microseconds(at), bpm) for bpm, at in self.lately(last).items()]))
        return OnLayer(self.stands, self.slowest, self.told, self.held, kept)

    def lately(self, last: datetime) -> dict[float, datetime]:
        """The tempos held within LATELY before `last`; older ones are let go."""
        since = last - LATELY
        while self.kept and next(iter(self.kept.values())) < since:
            del self.kept[next(iter(self.kept))]
        return self.kept


class Fold:
    """A drill's past as its days come, one after the other; it may go on from a past."""

    __slots__ = (
        "_begun", "_bpm", "_curve", "_first", "_full", "_graded", "_held", "_last", "_last_at", "_lately", "_newest",
        "_returns", "_thumb", "drill",
    )  # fmt: skip

    def __init__(self, drill: str, past: Past | None = None) -> None:
        self.drill = drill
        self._begun = past
        self._lately: list[TakeSummary] = []
        before = Past(date.max, date.min, datetime.min) if past is None else past
        self._first, self._last, self._last_at = before.first_day, before.last_day, before.last_at
        self._held = before.held_day
        self._full, self._thumb, self._bpm = _Layer(FULL, before.full), _Layer(THUMB, before.thumb), before.full.bpm
        self._curve = list(before.curve)
        self._newest = max([before.last_day, *(day for day, _ in before.curve)])
        self._graded = None if before.memory is None else graded_of(before.memory)
        threes = before.returns
        self._returns = {gap: n for gap, *n in zip(threes[::3], threes[1::3], threes[2::3], strict=True)}

    def day(self, day: date, takes: list[TakeSummary]) -> None:
        """Go on with more takes of one local day, as their drill counts them, in order and later than all before."""
        full, at = self._full, takes[-1].at
        if self._bpm is not None:
            gap = (day - self._last).days
            told = returned(gap, self._bpm, takes)
            if told is not None:
                sums = self._returns.setdefault(gap, [0, 0])
                sums[0] += told[0]
                sums[1] += told[1]
        words = [stands_alone(take) for take in takes]
        for take, word in zip(takes, words, strict=True):
            whole, mixed = take.layer == FULL, take.layers is not None
            if whole and word in HELD and (self._held is None or day < self._held):
                self._held = day
            if whole or mixed:
                full.take(take, word)
            if mixed or take.layer == THUMB:
                self._thumb.take(take, word)
        kept = full.lately(at)
        self._bpm = bpm = max(kept) if kept else full.held
        graded = self._graded
        grade = day_grade(takes, graded is not None and graded.first_held is not None, words)
        if grade is not None:
            self._graded = after_grade(graded, day, grade)
        if bpm is not None:
            curve = self._curve
            if day <= self._newest:  # a date that came again, or one before it
                curve[:] = [one for one in curve if one[0] != day]
            curve.append((day, bpm))
            if len(curve) > CURVE_DAYS:
                del curve[0]
        self._lately = (self._lately + takes)[-LATEST_TAKES:]
        if day < self._first:
            self._first = day
        if day > self._newest:
            self._newest = day
        self._last, self._last_at = day, at

    def past(self) -> Past:
        """The past as it is now; there was a day."""
        before, graded = self._begun, self._graded
        latest, memory = () if before is None else before.latest, None if before is None else before.memory
        if graded is not None and (memory is None or graded.last_day > memory.last_day):
            memory = memory_of(self.drill, graded)
        return Past(
            self._first,
            self._last,
            self._last_at,
            self._held,
            (*latest, *map(_counted, self._lately))[-LATEST_TAKES:],
            self._full.on(self._last_at),
            self._thumb.on(self._last_at),
            tuple(self._curve),
            memory,
            tuple([n for gap in sorted(self._returns) for n in (gap, *self._returns[gap])]),
        )


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
    fold = None
    for day, played in groupby(sorted(takes, key=lambda t: (t.at, t.id)), key=lambda t: t.local_day):
        own = list(played)
        fold = fold or Fold(own[0].drill, before)
        fold.day(day, [summarize_counted(take) for take in own])
    return before if fold is None else fold.past()


def pasts_of(takes: Iterable[Take]) -> dict[str, Past]:
    """Every drill's past from all takes, in whatever order they come. A pure function of them.

    Due days are no later than this player's own returns allow (retention.py).
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
    return past._replace(memory=memory._replace(due=memory.last_day + timedelta(days=wait)))


def memories(takes: Iterable[Take]) -> dict[str, Memory]:
    """Every drill's memory from all takes, in whatever order they come."""
    return {drill: past.memory for drill, past in pasts_of(takes).items() if past.memory is not None}


def _counted(take: TakeSummary) -> tuple[float, float]:
    clean, weight = counted((take,))
    return (clean, float(weight)) if weight else (0.0, 0.0)


def past_to_json(past: Past) -> list[Any]:
    """A past as lists and numbers, to be kept as JSON beside the ledger; days count from the calendar's year 1."""
    first, last, at, held, latest, full, thumb, curve, memory, returns = past
    return [
        first.toordinal(),
        last.toordinal(),
        microseconds(at),
        _ordinal(held),
        latest,
        full,
        thumb,
        [(day.toordinal(), bpm) for day, bpm in curve],
        None if memory is None else [_ordinal(value) if isinstance(value, date) else value for value in memory],
        returns,
    ]


def past_from_json(row: list[Any]) -> Past:
    """Inverse of `past_to_json`. Raises ValueError, TypeError or the like for what is no such past."""
    first, last, at, held, latest, full, thumb, curve, memory, returns = row
    return Past(
        date.fromordinal(first),
        date.fromordinal(last),
        from_microseconds(at),
        None if held is None else date.fromordinal(held),
        tuple([(clean, weight) for clean, weight in latest]),
        _layer_from_json(*full),
        _layer_from_json(*thumb),
        tuple([(date.fromordinal(day), bpm) for day, bpm in curve]),
        None if memory is None else _memory_from_json(*memory),
        tuple(returns),
    )


def _layer_from_json(standing: str | None, slowest: float, told: float, held: float, kept: list[list[Any]]) -> OnLayer:
    return OnLayer(standing, slowest, told, held, tuple([(at, bpm) for at, bpm in kept]))


def _memory_from_json(
    drill: str, first: int, last: int, days: int, stability: float, hard: float, due: int, standing: str, held: int
) -> Memory:
    first_day, last_day, due_day = (date.fromordinal(day) for day in (first, last, due))
    first_held = None if held is None else date.fromordinal(held)
    return Memory(drill, first_day, last_day, days, stability, hard, due_day, standing, first_held)


def _ordinal(day: date | None) -> int | None:
    return None if day is None else day.toordinal()
