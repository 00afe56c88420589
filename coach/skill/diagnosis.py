"""Where the stumbles of a drill gather, said only when an even spread would hardly give it by chance.

Were all beats of the loop as hard, each stumble would fall on any of them alike. For every spot that could be the
trouble (a beat of a bar, a bar, a beat of every bar, a chord change, a finger's beats) the chance that so many or more
fall into it is the upper tail of a binomial law; with as many spots looked at as there are, that chance is multiplied
by their number (Bonferroni). A spot is told when the product is below ONE_IN, so at most about one even-handed drill
in a hundred is told a trouble it has not, each time it is looked at. Of several spots the least likely is told.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from coach.drills.loop_map import LoopMap, Place
from coach.log.takes import Stumble, Take
from coach.picking.plucks import FINGER_WORDS

ONE_IN = 0.01
LEAST_HITS = 4
"""Fewer stumbles than this in a spot are not called gathered, however unlikely (ours, no source)."""
LATELY_DAYS, LATELY_TAKES = 28, 12
"""Only the latest takes of the latest days are looked at: what was mended since is no trouble now (ours, no source)."""
THUMB_SPOT = "where the thumb plucks"
_BROADEST = 0.75  # a spot that takes up more of the loop than this says nothing

BEAT, BAR, EVERY, CHANGE, FINGER = "beat", "bar", "every", "change", "finger"
"""Kinds of spots: one beat of one bar, a bar, a beat of every bar, a chord change, the beats of a finger."""


@dataclass(frozen=True)
class Spot:
    """Somewhere that stumbles may gather: its kind, its name in words, and the beats it is made of."""

    kind: str
    name: str
    places: frozenset[Place]

    @property
    def bar(self) -> int:
        """The first bar (from 0) that it lies in."""
        return min(self.places)[0]


@dataclass(frozen=True)
class Trouble:
    """A spot with `hits` of all `stumbles` where an even spread has `expected`; `chance` as the module's head says.

    `bars` is how long the loop is.
    """

    spot: Spot
    hits: int
    stumbles: int
    expected: float
    chance: float
    bars: int

    @property
    def words(self) -> str:
        """`stumbles gather at bar 2, beat 1 (Am): 7 of 9, evenly spread it would be about 1`."""
        even = "less than 1" if self.expected < 0.75 else f"about {self.expected:.0f}"
        return f"stumbles gather {self.spot.name}: {self.hits} of {self.stumbles}, evenly spread it would be {even}"


def spots(loop: LoopMap) -> tuple[Spot, ...]:
    """Every spot of the loop that is looked at, each set of beats once, the narrowest kind first."""
    several = loop.bars > 1
    found: list[Spot] = []
    for one in loop.places:
        fingers = _pluck_words(one.fingers, one.pinch)
        where = f"at bar {one.bar + 1}, beat {one.beat + 1}" if several else f"at beat {one.beat + 1}"
        more = one.change or one.chord
        found.append(Spot(BEAT, f"{where} ({more}{fingers})", frozenset({one.place})))
    found += _changes(loop)
    if several:
        for bar in range(loop.bars):
            name = f"in bar {bar + 1} ({' '.join(loop.chords(bar))})"
            found.append(Spot(BAR, name, frozenset(p.place for p in loop.places if p.bar == bar)))
        for beat in range(loop.beats):
            places = frozenset(p.place for p in loop.places if p.beat == beat)
            found.append(Spot(EVERY, f"on beat {beat + 1} of every bar", places))
    for finger, word in FINGER_WORDS.items():
        places = frozenset(p.place for p in loop.places if finger in p.fingers)
        found.append(Spot(FINGER, THUMB_SPOT if finger == "p" else f"where the {word} finger plucks", places))
    found.append(Spot(FINGER, "on the pinches", frozenset(p.place for p in loop.places if p.pinch)))
    once: dict[frozenset[Place], Spot] = {}
    for spot in found:
        if 0 < len(spot.places) <= _BROADEST * len(loop.places):
            once.setdefault(spot.places, spot)
    return tuple(once.values())


def _pluck_words(fingers: str, pinch: bool) -> str:
    if not fingers:
        return ""
    words = [FINGER_WORDS[f] for f in fingers]
    joined = " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
    return f"; {joined}{', with a pinch' if pinch else ''}"


def _changes(loop: LoopMap) -> list[Spot]:
    """Each chord change wherever it comes, and all of them together: the beat it falls on and the one after.

    The one after is in, because a stumble is marked when it has been felt.
    """
    by_name: dict[str, set[Place]] = {}
    for number, one in enumerate(loop.places):
        if one.change:
            after = loop.places[(number + 1) % len(loop.places)]
            by_name.setdefault(one.change, set()).update((one.place, after.place))
    every: set[Place] = set().union(*by_name.values())
    named = [Spot(CHANGE, f"at the change from {name}", frozenset(places)) for name, places in by_name.items()]
    return [*named, Spot(CHANGE, "at the chord changes", frozenset(every))]


def upper_tail(hits: int, of: int, share: float) -> float:
    """The chance of `hits` or more of `of` when each hits with chance `share`: the binomial law's upper tail."""
    return min(1.0, math.fsum(math.comb(of, k) * share**k * (1 - share) ** (of - k) for k in range(hits, of + 1)))


def gathered(counts: Counter[Place], loop: LoopMap) -> Trouble | None:
    """Where stumbles by place gather; None while that cannot be told from an even spread."""
    total = counts.total()
    if total < LEAST_HITS:
        return None
    looked_at = spots(loop)
    found: list[Trouble] = []
    for spot in looked_at:
        hits, share = sum(counts[place] for place in spot.places), len(spot.places) / len(loop.places)
        if hits >= LEAST_HITS:
            chance = min(1.0, upper_tail(hits, total, share) * len(looked_at))
            found.append(Trouble(spot, hits, total, total * share, chance, loop.bars))
    # Among as unlikely ones the first stands, and narrow spots come first.
    worst = min(found, key=lambda t: t.chance, default=None)
    return worst if worst is not None and worst.chance < ONE_IN else None


def lately(takes: Iterable[Take], today: date) -> list[Take]:
    """A drill's latest twelve takes of the latest four weeks, in order."""
    recent = [t for t in takes if timedelta(0) <= today - t.local_day < timedelta(LATELY_DAYS)]
    return sorted(recent, key=lambda t: (t.at, t.id))[-LATELY_TAKES:]


def trouble(loop: LoopMap, takes: Sequence[Take], stumbles: Iterable[Stumble], today: date) -> Trouble | None:
    """Where the stumbles of a drill's latest takes gather; None while that cannot be told."""
    ids = {t.id for t in lately(takes, today)}
    return gathered(loop.counts(s for s in stumbles if s.take in ids), loop)
