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
from coach.ear.heard import HIT, MISSED, UNSURE, WRONG, Extra, Heard, HeardPluck
from coach.ear.lateness import timed
from coach.ear.meant import Meant
from coach.ear.onsets import HOP_S, Floats, Onset, Wave, picked, placed, spectral_flux
from coach.ear.pinches import APART_S, all_begin
from coach.music.notes import hertz

_FAINT = 0.08  # onsets are looked for down to this share of a middling one; the way through chooses
_SHARPENED = 1.4  # rises are raised to this power: what is surely new counts for more
_ENOUGH = 4  # instants found, from which the take can teach its strings
_SEEK_S = 0.06  # how near to its place an instant that was not found is looked for
_EXTRA_SHARE = 0.3
_FEEBLE = 0.2  # of a middling onset: below it an onset by itself proves nothing
_OWN_S, _DOUBTED_S = 0.012, 0.012  # how far a string puts the fit off; from where a time is another one
_FALLEN_S = 0.09  # so far apart the plucks of a pinch may come and still be that
_FRETS = 5  # how far up a string a pitch that is nowhere meant is taken to be fretted
_BLURRED, _ALL_NOISE = 0.15, 0.55  # shares of noise from which a time is doubted, and from which nothing is sure


@dataclass(frozen=True)
class _Take:
    """What is meant, by instant, and what there is to hear it with."""

    meant: tuple[Meant, ...]
    instants: tuple[tuple[int, ...], ...]  # indices of the plucks of each
    times: Floats  # of the instants
    midis: tuple[int, ...]
    strings: Mapping[int, tuple[int, ...]]  # midi -> strings that play it in this take
    place: Mapping[int, int]  # midi -> its column
    likely: frozenset[int]  # pitches that are meant, or that a shape has, or an open string


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
    take = _take(meant, shapes)
    flux = spectral_flux(samples, rate)
    found = picked(samples, rate, flux, _FAINT)
    if not found:
        return Heard(0.0, lost, ())
    risen = pitches.rises(samples, rate, [o.time_s for o in found])
    colour = pitches.colour(risen)
    risen = (risen / colour) ** _SHARPENED
    school = _School(np.zeros(len(take.midis)), pitches.usual_envelopes(take.midis))
    weights, way = _matched(take, found, risen, school, offset_s)
    if (way.found != NONE).sum() >= _ENOUGH:
        school = _schooled(take, risen, weights, way, school)
        sought = _sought(take, samples, rate, flux, found, way)
        if sought:
            more = (pitches.rises(samples, rate, [o.time_s for o in sought]) / colour) ** _SHARPENED
            order = np.argsort([o.time_s for o in (*found, *sought)], kind="stable")
            found = [(*found, *sought)[k] for k in order]
            risen = np.concatenate([risen, more])[order]
        weights, way = _matched(take, found, risen, school, offset_s)
    if not (way.found != NONE).any():
        return Heard(0.0, lost, ())
    return _judged(take, samples, rate, found, weights, way, school, offset_s)


@dataclass(frozen=True)
class _School:
    """What the take has taught: by how many cents each pitch is out, and the strengths of its harmonics."""

    cents: Floats
    envelopes: Floats


def _sought(take: _Take, samples: Wave, rate: int, flux: Floats, found: Sequence[Onset], way: Way) -> list[Onset]:
    """Where instants that nothing was found for should be: the highest flux near the place that their neighbours give.

    A thumb's dull pluck under a ringing chord makes hardly any flux; whether there is one its pitch then says.
    """
    here = np.flatnonzero(way.found != NONE)
    times = np.array([o.time_s for o in found])
    late = times[way.found[here]] - take.times[here]
    reach = round(_SEEK_S / HOP_S)
    sought: list[Onset] = []
    for i in np.flatnonzero(way.found == NONE):
        expected = float(take.times[i] + np.interp(take.times[i], take.times[here], late))
        middle = round(expected / HOP_S)
        low, high = max(middle - reach, 0), min(middle + reach + 1, len(flux))
        if high - low < reach or np.abs(times - expected).min() < _SEEK_S / 2:
            continue
        time = placed(samples, rate, (low + int(np.argmax(flux[low:high]))) * HOP_S)
        if np.abs(times - time).min() > _SEEK_S / 2:
            sought.append(Onset(time, 0.0))
    return sought


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
    likely = frozenset(strings)
    # A finger a fret beside, and strings that no shape is known of: every pitch between the lowest and the highest.
    for midi in range(min(strings), max(strings) + 2):
        if midi not in strings:
            strings[midi].update(s for s, low in opens.items() if 0 <= midi - low <= _FRETS)
    strings = {midi: found for midi, found in strings.items() if found}
    midis = tuple(sorted(strings))
    return _Take(
        meant,
        instants,
        np.array([meant[one[0]].time_s for one in instants]),
        midis,
        {midi: tuple(sorted(found)) for midi, found in strings.items()},
        {midi: k for k, midi in enumerate(midis)},
        likely,
    )


def _columns(take: _Take, instant: int) -> list[int]:
    return [take.place[take.meant[k].midi] for k in take.instants[instant]]


def _matched(
    take: _Take,
    found: Sequence[Onset],
    risen: Floats,
    school: _School,
    offset_s: float | None,
) -> tuple[Floats, Way]:
    """(strengths of pitches and noise at each onset, the way through)."""
    times = [o.time_s for o in found]
    rows = np.einsum("ph,phg->pg", school.envelopes, pitches.combs(take.midis, list(school.cents)))
    weights = pitches.strengths(risen, rows)
    shares = weights / (weights.sum(axis=1, keepdims=True) + 1e-12)
    kinds: dict[tuple[int, ...], Floats] = {}
    count = len(take.midis)
    fits: list[Floats] = []  # of what is meant alike the same row: all of them in one table would be too much
    for i in range(len(take.instants)):
        columns = tuple(_columns(take, i))
        if columns not in kinds:
            part = np.minimum(shares[:, list(columns)] * len(columns) / 0.4, 1.0).mean(axis=1)
            kinds[columns] = 3.5 * part - 1.0
        fits.append(kinds[columns])
    pitched = shares[:, :count].max(axis=1)
    strong = np.minimum([o.strength for o in found], 1.0)
    cost = 0.1 + 0.9 * strong * pitched
    return weights, align(list(take.times), times, fits, cost, offset_s)


def _schooled(take: _Take, risen: Floats, weights: Floats, way: Way, school: _School) -> _School:
    """Tuning and envelopes of the pitches as the take has them, by what each instant is likely to be."""
    here = [i for i in range(len(way.found)) if way.found[i] != NONE]
    allowed = np.zeros((len(here), len(take.midis)))
    for row, i in enumerate(here):
        allowed[row, _columns(take, i)] = 1.0
    mine = risen[way.found[here]]
    shares = weights[way.found[here]] / (weights[way.found[here]].sum(axis=1, keepdims=True) + 1e-12)
    tuned = np.array(school.cents)
    heard_on: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for k, midi in enumerate(take.midis):
        sure = (allowed[:, k] > 0) & (shares[:, k] > 0.4)
        if sure.sum() >= 2:
            off = pitches.tuning(mine[sure], midi, school.envelopes[k])
            tuned[k] = off
            for string in take.strings[midi]:
                heard_on[string].append((off, float(sure.sum())))
    for k, midi in enumerate(take.midis):
        if tuned[k] == 0.0:  # not heard enough: as its string's other notes are
            offs = [pair for string in take.strings[midi] for pair in heard_on.get(string, [])]
            if offs:
                tuned[k] = float(np.average([o for o, _ in offs], weights=[w for _, w in offs]))
    learned = pitches.learned_envelopes(mine, pitches.combs(take.midis, list(tuned)), school.envelopes, allowed, 4.0)
    return _School(tuned, learned)


def _judged(
    take: _Take,
    samples: Wave,
    rate: int,
    found: Sequence[Onset],
    weights: Floats,
    way: Way,
    school: _School,
    offset_s: float | None,
) -> Heard:
    shares = weights / (weights.sum(axis=1, keepdims=True) + 1e-12)
    usual = _usual(take, weights, way)
    plucks = [HeardPluck(m, MISSED, None, None, None) for m in take.meant]
    used: set[int] = set()
    for i, j in enumerate(way.found):
        if j == NONE:
            continue
        for k, (status, string) in _told(take, i, weights[j], shares[j], usual, found[j].strength < _FEEBLE).items():
            if status != MISSED:
                used.add(int(j))
                plucks[k] = replace(plucks[k], status=status, string=string, time_s=found[j].time_s)
    _fallen_apart(take, found, weights, shares, usual, way, plucks, used)
    something = sum(p.status != MISSED for p in plucks)
    if sum(p.status == HIT for p in plucks) < _BY_CHANCE * something:
        # Clicks, or another piece: what fits among so much that does not may fit by chance.
        plucks = [replace(p, status=UNSURE, string=None) if p.status == HIT else p for p in plucks]
    blurred = {int(j) for j in used if shares[j, len(take.midis) :].sum() > _BLURRED}
    beside = {k for i, j in enumerate(way.found) if j in blurred for k in take.instants[i]}
    plucks = _placed_alone(take, samples, rate, plucks, school, beside)
    offset, latency, offs = timed(plucks, offset_s)
    plucks = [replace(p, off_ms=off) for p, off in zip(plucks, offs, strict=True)]
    extra = _extras(take, found, weights, shares, way, used)
    return Heard(latency, tuple(plucks), extra, offset)


def _fallen_apart(
    take: _Take,
    found: Sequence[Onset],
    weights: Floats,
    shares: Floats,
    usual: Floats,
    way: Way,
    plucks: list[HeardPluck],
    used: set[int],
) -> None:
    """Plucks of a pinch that came so far apart that they are two onsets: the other one is looked for beside it."""
    times = np.array([o.time_s for o in found])
    for i, j in enumerate(way.found):
        if j == NONE or len(take.instants[i]) < 2:
            continue
        for k in take.instants[i]:
            column = take.place[take.meant[k].midi]
            if plucks[k].status == HIT:
                continue
            for near in np.flatnonzero(np.abs(times - times[j]) < _FALLEN_S).tolist():
                if near in used or found[near].strength == 0:
                    continue
                if shares[near, column] > _ALONE.sure and weights[near, column] > _ALONE.level * usual[column]:
                    time = float(times[near])
                    plucks[k] = replace(plucks[k], status=HIT, string=take.meant[k].string, time_s=time)
                    used.add(near)
                    break


def _placed_alone(
    take: _Take, samples: Wave, rate: int, plucks: Sequence[HeardPluck], school: _School, beside: set[int]
) -> list[HeardPluck]:
    """The plucks with those of a pinch placed one by one, and with the times of others doubted where a click may have
    been taken for them: on whole beats, and where noise came with them (`beside`)."""
    tones = [hertz(midi) * 2 ** (c / 1200) for midi, c in zip(take.midis, school.cents, strict=True)]
    asked: list[tuple[float, list[int], list[int]]] = []  # about when, plucks, their pitches' columns
    for instant in take.instants:
        hits = [k for k in instant if plucks[k].status == HIT]
        about = plucks[hits[0]].time_s if hits else None
        mine = [k for k in hits if plucks[k].time_s == about]  # a pinch that fell apart has two onsets already
        if about is not None and (len(mine) > 1 or mine[0] in beside or take.meant[mine[0]].beat.denominator == 1):
            asked.append((about, mine, [take.place[take.meant[k].midi] for k in mine]))
    told_all = list(all_begin(samples, rate, [(about, [tones[c] for c in columns]) for about, _, columns in asked]))
    # A string's own attack puts the fit off by something that is the same each time: its plucks by itself tell it.
    alone: dict[int, list[float]] = defaultdict(list)
    for (about, mine, columns), told in zip(asked, told_all, strict=True):
        if len(mine) == 1 and mine[0] not in beside:
            alone[columns[0]].append(about - told[0])
    own = {column: float(np.median(offs)) for column, offs in alone.items()}
    own = {column: off if abs(off) < _OWN_S else 0.0 for column, off in own.items()}
    usual = float(np.median(list(own.values()))) if own else 0.0
    placed_ = list(plucks)
    for (about, mine, columns), told in zip(asked, told_all, strict=True):
        told = [time + own.get(c, usual) for time, c in zip(told, columns, strict=True)]
        if len(mine) == 1:
            if abs(told[0] - about) > _DOUBTED_S:
                placed_[mine[0]] = replace(placed_[mine[0]], time_s=told[0])
            continue
        nearest = min(range(len(told)), key=lambda n: abs(told[n] - about))
        if max(told) - min(told) < APART_S and abs(told[nearest] - about) < _DOUBTED_S:
            continue
        for n, k in enumerate(mine):
            keeps = n == nearest and abs(told[n] - about) < _DOUBTED_S
            placed_[k] = replace(placed_[k], time_s=about if keeps else told[n])
    return placed_


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
    take: _Take, instant: int, weights: Floats, shares: Floats, usual: Floats, sought: bool
) -> dict[int, tuple[str, int | None]]:
    """(status, string) of each pluck of an instant, from the strengths at its onset.

    sought: hardly an onset, but where one was meant; then the pitch must be clear, and other pitches prove nothing.
    """
    count = len(take.midis)
    mine = _columns(take, instant)
    noisy = shares[count:].sum() > _ALL_NOISE
    levels = weights[:count] / usual
    bound = _SOUGHT if sought else _ALONE if len(mine) == 1 else _TOGETHER
    others = [k for k in range(count) if k not in mine and shares[k] > bound.other and levels[k] > bound.other_level]
    others.sort(key=lambda k: -shares[k])
    told: dict[int, tuple[str, int | None]] = {}
    for k, column in zip(take.instants[instant], mine, strict=True):
        share, level = shares[column], levels[column]
        rival = shares[others[0]] if others else 0.0
        if not noisy and share > bound.sure and level > bound.level and share > 0.4 * rival:
            told[k] = (HIT, take.meant[k].string)
        elif others and not noisy:
            other = others.pop(0)
            # A pitch that no shape has may as well be a voice's: only where nearly all is that is it a wrong fret.
            sure = take.midis[other] in take.likely or shares[other] > _SURELY_ELSE
            told[k] = (WRONG, _string_of(take, take.midis[other], take.meant[k])) if sure else (UNSURE, None)
        elif (share > bound.maybe and level > bound.level / 2) or (bound is _ALONE and levels.max() > _SOMETHING):
            told[k] = (UNSURE, None)
        else:
            told[k] = (MISSED, None)
    return told


@dataclass(frozen=True)
class _Bounds:
    """From which share of a moment's rise, and which part of its usual strength, a pitch is taken to begin; from which
    share it may; and from which on another one is taken to sound in its place."""

    sure: float
    level: float
    maybe: float
    other: float
    other_level: float


# Between what plucks that were there and plucks that were not came to, on synthetic and sampled strings.
_ALONE = _Bounds(0.22, 0.08, 0.15, 0.3, 0.25)
_TOGETHER = _Bounds(0.075, 0.08, 0.035, 0.18, 0.3)
_SOUGHT = _Bounds(0.35, 0.12, 0.28, 2.0, 0.0)
_SOMETHING = 0.3
_SURELY_ELSE = 0.6
_BY_CHANCE = 0.4


def _string_of(take: _Take, midi: int, near: Meant) -> int:
    """The likeliest string of a pitch that was heard in the place of `near`: the one whose nearest meant pluck of that
    pitch is nearest in time; else the nearest string."""
    best = min(((abs(m.time_s - near.time_s), m.string) for m in take.meant if m.midi == midi), default=None)
    if best is not None:
        return best[1]
    return min(take.strings[midi], key=lambda s: abs(s - near.string))


def _extras(
    take: _Take,
    found: Sequence[Onset],
    weights: Floats,
    shares: Floats,
    way: Way,
    used: set[int],
) -> tuple[Extra, ...]:
    """Sounds between the first and the last that was meant, and that nothing was meant for."""
    count = len(take.midis)
    times = [o.time_s for o in found]
    taken = sorted(int(j) for j in way.found if j != NONE)
    every = float(np.median(weights[taken, :count].max(axis=1)))
    extra = []
    for j in range(taken[0], min(taken[-1] + 2, len(times))):
        if j in used:
            continue
        near = [t for t in taken if t != j and abs(times[t] - times[j]) < 0.06]
        top = int(np.argmax(shares[j, :count]))
        loud = weights[j, top] > 0.35 * every and shares[j, top] > _EXTRA_SHARE
        if near and any(int(np.argmax(shares[t, :count])) == top for t in near):
            continue  # one pluck found twice
        if loud and take.midis[top] not in take.likely and shares[j, top] < _SURELY_ELSE:
            continue  # as likely a voice
        if loud and found[j].strength > 0.15:
            middle = float(times[j] - times[taken[0]] + take.times[0])
            nearest = min(take.meant, key=lambda m: abs(m.time_s - middle))
            extra.append(Extra(float(times[j]), _string_of(take, take.midis[top], nearest)))
        elif found[j].strength > 1.0 and not near:
            extra.append(Extra(float(times[j]), None))
    return tuple(extra)
