"""A recorded take heard beside what was meant: for each pluck whether its own pitch begins there, and when.

Three steps: what begins where (`onsets`), which pitches each of these moments brings (`pitches`), and which moment is
which meant instant (`align`). The take then teaches its own strings: with what each moment is likely to be, tuning and
colour of every pitch are learned from the recording and the last two steps are taken again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from coach.ear import pitches
from coach.ear.align import NONE, Way, align
from coach.ear.meant import Meant
from coach.ear.onsets import Floats, Onset, Wave, onsets

HIT, MISSED, WRONG, UNSURE = "hit", "missed", "wrong", "unsure"

_FAINT = 0.08  # onsets are looked for down to this share of a middling one; the way through chooses
_SHARPENED = 1.4  # rises are raised to this power: what is surely new counts for more
_SURE, _MAYBE = 0.5, 0.22  # of a pitch's usual strength: it begins here, it may
_LEAST_SHARE, _OTHER_SHARE = 0.06, 0.3
_MOST_NOISE = 0.75


@dataclass(frozen=True)
class HeardPluck:
    """What was heard of a meant pluck.

    status  hit; missed; wrong: another string (or pitch) sounded in its place; unsure: something sounded there and it
            cannot be told what
    string  the string that sounded, None where nothing did or it cannot be told
    time_s  when, in seconds of the recording
    off_ms  by how much late (early is negative) once the constant latency is out; after a pause that the player did not
            make up for, measured from where the pause has put the beat
    """

    meant: Meant
    status: str
    string: int | None
    time_s: float | None
    off_ms: float | None


@dataclass(frozen=True)
class Extra:
    """A sound that nothing was meant for; `string` None where no string is likely."""

    time_s: float
    string: int | None


@dataclass(frozen=True)
class Heard:
    """A take as it was heard.

    latency_ms  constant lateness against `offset_s` as it was given; 0 where the ear found the first beat by itself
    plucks      one for each meant pluck, in their order
    extra       in order of time
    offset_s    where the first beat falls in the recording, latency included; None where nothing was heard
    pauses      seconds by which the beat was put off for good, as (index of the pluck it begins with, seconds)
    """

    latency_ms: float
    plucks: tuple[HeardPluck, ...]
    extra: tuple[Extra, ...]
    offset_s: float | None = None
    pauses: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True)
class _Take:
    """What is meant, by instant, and what there is to hear it with."""

    meant: tuple[Meant, ...]
    instants: tuple[tuple[int, ...], ...]  # indices of the plucks of each
    times: Floats  # of the instants
    midis: tuple[int, ...]
    strings: Mapping[int, tuple[int, ...]]  # midi -> strings that play it in this take
    place: Mapping[int, int]  # midi -> its column


def hear(
    samples: Wave,
    rate: int,
    meant: Sequence[Meant],
    offset_s: float | None = None,
    *,
    shapes: Sequence[Mapping[int, int]] = (),
) -> Heard:
    """Hear (frames,) mono samples at `rate` Hz beside what was meant.

    offset_s: where the first beat falls in the recording; found by itself when None. shapes: for each bar of a loop
    the pitch of every string that the fretting hand lets sound (string -> midi), to tell wrong strings better.
    """
    meant = tuple(meant)
    lost = tuple(HeardPluck(m, MISSED, None, None, None) for m in meant)
    if not meant:
        return Heard(0.0, (), ())
    found = onsets(samples, rate, floor=_FAINT)
    take = _take(meant, shapes)
    if not found:
        return Heard(0.0, lost, ())
    times = np.array([o.time_s for o in found])
    risen = pitches.evened(pitches.rises(samples, rate, list(times))) ** _SHARPENED
    cents = np.zeros(len(take.midis))
    envelopes = pitches.usual_envelopes(take.midis)
    weights, way = _matched(take, found, times, risen, cents, envelopes, offset_s)
    for _ in range(1):
        if (way.found != NONE).sum() < 4:
            break
        cents, envelopes = _schooled(take, risen, weights, way, cents, envelopes)
        weights, way = _matched(take, found, times, risen, cents, envelopes, offset_s)
    if not (way.found != NONE).any():
        return Heard(0.0, lost, ())
    return _judged(take, found, times, weights, way, offset_s)


def _take(meant: tuple[Meant, ...], shapes: Sequence[Mapping[int, int]]) -> _Take:
    order = sorted(range(len(meant)), key=lambda k: meant[k].time_s)
    instants = tuple(tuple(group) for _, group in groupby(order, key=lambda k: round(meant[k].time_s, 4)))
    strings: dict[int, set[int]] = defaultdict(set)
    opens = dict(zip(range(6, 0, -1), (40, 45, 50, 55, 59, 64), strict=True))
    for m in meant:
        strings[m.midi].add(m.string)
        opens[m.string] = m.midi - m.fret
    for shape in shapes:
        for string, midi in shape.items():
            strings[midi].add(string)
    for string, midi in opens.items():
        strings[midi].add(string)
    midis = tuple(sorted(strings))
    return _Take(
        meant,
        instants,
        np.array([meant[one[0]].time_s for one in instants]),
        midis,
        {midi: tuple(sorted(found)) for midi, found in strings.items()},
        {midi: k for k, midi in enumerate(midis)},
    )


def _columns(take: _Take, instant: int) -> list[int]:
    return [take.place[take.meant[k].midi] for k in take.instants[instant]]


def _matched(
    take: _Take,
    found: Sequence[Onset],
    times: Floats,
    risen: Floats,
    cents: Floats,
    envelopes: Floats,
    offset_s: float | None,
) -> tuple[Floats, Way]:
    """(strengths of pitches and noise at each onset, the way through)."""
    rows = np.einsum("ph,phg->pg", envelopes, pitches.combs(take.midis, list(cents)))
    weights = pitches.strengths(risen, rows)
    shares = weights / (weights.sum(axis=1, keepdims=True) + 1e-12)
    kinds: dict[tuple[int, ...], Floats] = {}
    count = len(take.midis)
    fits = np.empty((len(take.instants), len(times)))
    for i in range(len(take.instants)):
        columns = tuple(_columns(take, i))
        if columns not in kinds:
            part = np.minimum(shares[:, list(columns)] * len(columns) / 0.4, 1.0).mean(axis=1)
            kinds[columns] = 3.5 * part - 1.0
        fits[i] = kinds[columns]
    pitched = shares[:, :count].max(axis=1)
    strong = np.minimum([o.strength for o in found], 1.0)
    cost = 0.1 + 0.9 * strong * pitched
    return weights, align(list(take.times), list(times), fits, cost, offset_s)


def _schooled(
    take: _Take, risen: Floats, weights: Floats, way: Way, cents: Floats, envelopes: Floats
) -> tuple[Floats, Floats]:
    """(tuning, envelopes) of the pitches, as the take has them."""
    here = [i for i in range(len(way.found)) if way.found[i] != NONE]
    allowed = np.zeros((len(here), len(take.midis)))
    for row, i in enumerate(here):
        allowed[row, _columns(take, i)] = 1.0
    mine = risen[way.found[here]]
    shares = weights[way.found[here]] / (weights[way.found[here]].sum(axis=1, keepdims=True) + 1e-12)
    tuned = np.array(cents)
    heard_on: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for k, midi in enumerate(take.midis):
        sure = (allowed[:, k] > 0) & (shares[:, k] > 0.4)
        if sure.sum() >= 2:
            off = pitches.tuning(mine[sure], midi, envelopes[k])
            tuned[k] = off
            for string in take.strings[midi]:
                heard_on[string].append((off, float(sure.sum())))
    for k, midi in enumerate(take.midis):
        if tuned[k] == 0.0:  # not heard enough: as its string's other notes are
            offs = [pair for string in take.strings[midi] for pair in heard_on.get(string, [])]
            if offs:
                tuned[k] = float(np.average([o for o, _ in offs], weights=[w for _, w in offs]))
    learned = pitches.learned_envelopes(mine, pitches.combs(take.midis, list(tuned)), envelopes, allowed, 4.0)
    return tuned, learned


def _judged(
    take: _Take,
    found: Sequence[Onset],
    times: Floats,
    weights: Floats,
    way: Way,
    offset_s: float | None,
) -> Heard:
    count = len(take.midis)
    shares = weights / (weights.sum(axis=1, keepdims=True) + 1e-12)
    usual = _usual(take, weights, way)
    statuses: list[tuple[str, int | None, float | None]] = [(MISSED, None, None)] * len(take.meant)
    used: set[int] = set()
    for i, j in enumerate(way.found):
        if j == NONE:
            continue
        told = _told(take, i, weights[j, :count], shares[j], usual)
        for k, (status, string) in told.items():
            statuses[k] = (status, string, float(times[j]) if status != MISSED else None)
        if any(status != MISSED for status, _ in told.values()):
            used.add(int(j))
    plucks = [HeardPluck(m, s, string, time, None) for m, (s, string, time) in zip(take.meant, statuses, strict=True)]
    offset, latency, offs, pauses = _timed(take, plucks, offset_s)
    plucks = [replace(p, off_ms=off) for p, off in zip(plucks, offs, strict=True)]
    extra = _extras(take, found, times, weights, shares, way, used)
    return Heard(latency, tuple(plucks), extra, offset, pauses)


def _usual(take: _Take, weights: Floats, way: Way) -> Floats:
    """How strong each pitch usually is where it is meant: the middle one; where it never is, that of all."""
    heard: dict[int, list[float]] = defaultdict(list)
    for i, j in enumerate(way.found):
        if j != NONE:
            for column in _columns(take, i):
                heard[column].append(float(weights[j, column]))
    middles = {column: float(np.median(values)) for column, values in heard.items()}
    every = float(np.median(list(middles.values()))) if middles else 1.0
    return np.array([max(middles.get(k, every), 0.4 * every) for k in range(len(take.midis))])


def _told(
    take: _Take, instant: int, weights: Floats, shares: Floats, usual: Floats
) -> dict[int, tuple[str, int | None]]:
    """(status, string) of each pluck of an instant, from the strengths at its onset."""
    count = len(take.midis)
    mine = _columns(take, instant)
    least = _LEAST_SHARE if len(mine) > 1 else 1.5 * _LEAST_SHARE
    others = [k for k in range(count) if k not in mine and weights[k] > _SURE * usual[k] and shares[k] > _OTHER_SHARE]
    others.sort(key=lambda k: -shares[k])
    told: dict[int, tuple[str, int | None]] = {}
    for k, column in zip(take.instants[instant], mine, strict=True):
        level = weights[column] / usual[column]
        rival = max((shares[o] for o in others), default=0.0)
        if shares[column] >= least and level >= _SURE * 0.5 and shares[column] > 0.35 * rival:
            told[k] = (HIT, take.meant[k].string)
        elif others:
            told[k] = (WRONG, _string_of(take, take.midis[others.pop(0)], take.meant[k]))
        elif shares[column] >= 0.5 * least and level >= _MAYBE * 0.5:
            told[k] = (UNSURE, None)
        elif shares[:count].sum() > 1 - _MOST_NOISE and len(mine) == 1:
            told[k] = (UNSURE, None)
        else:
            told[k] = (MISSED, None)
    return told


def _string_of(take: _Take, midi: int, near: Meant) -> int:
    """The likeliest string of a pitch that was heard in the place of `near`: the one whose nearest meant pluck of that
    pitch is nearest in time; else the nearest string."""
    best = min(((abs(m.time_s - near.time_s), m.string) for m in take.meant if m.midi == midi), default=None)
    if best is not None:
        return best[1]
    return min(take.strings[midi], key=lambda s: abs(s - near.string))


def _timed(
    take: _Take, plucks: Sequence[HeardPluck], offset_s: float | None
) -> tuple[float, float, list[float | None], tuple[tuple[int, float], ...]]:
    """(offset found, latency in ms, off_ms of each pluck, pauses)."""
    heard = [(i, p.time_s - p.meant.time_s) for i, p in enumerate(plucks) if p.time_s is not None]
    offs: list[float | None] = [None] * len(plucks)
    if not heard:
        return 0.0, 0.0, offs, ()
    behind = np.array([late for _, late in heard])
    shifts, pauses = _pauses([plucks[i].meant.time_s for i, _ in heard], behind)
    level = behind - shifts
    base = float(np.median(level))
    for (i, _), late, off in zip(heard, level, range(len(heard)), strict=True):
        offs[i] = float(late - base) * 1000
    for k, _by in pauses:  # the pluck that was waited for is late by the pause itself
        i = heard[k][0]
        before = shifts[k - 1]
        for n in range(k, len(heard)):
            if plucks[heard[n][0]].meant.time_s != plucks[i].meant.time_s:
                break
            offs[heard[n][0]] = float(behind[n] - before - base) * 1000
    latency = 0.0 if offset_s is None else (base - offset_s) * 1000
    return base, latency, offs, tuple((heard[k][0], by) for k, by in pauses)


_AGAIN = 5  # so many plucks on both sides say whether a delay stayed
_LEAST_PAUSE_S, _PAUSE_SHARE = 0.12, 0.35


def _pauses(meant_s: Sequence[float], behind: Floats) -> tuple[Floats, list[tuple[int, float]]]:
    """(by how much the beat was put off in all at each pluck, where and by how much it was put off for good)."""
    shifts = np.zeros(len(behind))
    pauses: list[tuple[int, float]] = []
    gaps = np.diff(np.unique(np.round(meant_s, 4)))
    usual = float(np.median(gaps)) if len(gaps) else 0.5
    bound = max(_LEAST_PAUSE_S, _PAUSE_SHARE * usual)
    for k in range(1, len(behind)):
        if abs(behind[k] - behind[k - 1]) <= bound:
            continue
        before, after = behind[max(k - _AGAIN, 0) : k], behind[k : k + _AGAIN]
        by = float(np.median(after) - np.median(before))
        if abs(by) > bound and abs(by) > 0.5 * abs(float(behind[k] - behind[k - 1])):
            shifts[k:] += by
            pauses.append((k, by))
    return shifts, pauses


def _extras(
    take: _Take,
    found: Sequence[Onset],
    times: Floats,
    weights: Floats,
    shares: Floats,
    way: Way,
    used: set[int],
) -> tuple[Extra, ...]:
    """Sounds between the first and the last that was meant, and that nothing was meant for."""
    count = len(take.midis)
    taken = sorted(int(j) for j in way.found if j != NONE)
    every = float(np.median(weights[taken, :count].max(axis=1)))
    extra = []
    for j in range(taken[0], min(taken[-1] + 2, len(times))):
        if j in used:
            continue
        near = [t for t in taken if t != j and abs(times[t] - times[j]) < 0.06]
        top = int(np.argmax(shares[j, :count]))
        loud = weights[j, top] > 0.35 * every and shares[j, top] > _OTHER_SHARE
        if near and any(int(np.argmax(shares[t, :count])) == top for t in near):
            continue  # one pluck found twice
        if loud and found[j].strength > 0.15:
            middle = float(times[j] - times[taken[0]] + take.times[0])
            nearest = min(take.meant, key=lambda m: abs(m.time_s - middle))
            extra.append(Extra(float(times[j]), _string_of(take, take.midis[top], nearest)))
        elif found[j].strength > 0.6 and not near:
            extra.append(Extra(float(times[j]), None))
    return tuple(extra)
