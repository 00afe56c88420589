"""One remedy at a time for a drill's trouble, and later whether things have gone better since.

What helps where is not published as numbers. That the place itself is found and worked on, and the tempo brought down
and up with judgement, is what the best of 17 pianists did (Duke, Simmons & Cash 2009, JRME 56:310-321); between a
steady climb and alternating tempos no significant difference was found (Henley 2001, JRME 49). So the order below is
ours, and the data decide: a remedy is judged by the share of clean passes before and since, at like tempos, and the
next one comes when it did not help.

The share since may be higher because of the remedy, because of practice alone, or because a bad spell was over anyway;
the words therefore say what happened since, never why.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from coach.drills.sung_drills import find_counted_layer
from coach.log.notes import NoteKind
from coach.log.takes import Note, Take
from coach.picking.layers import FULL
from coach.skill.diagnosis import BAR, BEAT, CHANGE, EVERY, FINGER, THUMB_SPOT, Trouble
from coach.skill.pass_counts import counts_for
from coach.skill.plateau import Curve
from coach.skill.psychometric import fine_bin
from coach.skill.steady_tempo import SteadyTempo

CORNER, SLOWER, THINNER, THUMB, ALTERNATE, SHAPE, REST = (
    "corner",
    "slower",
    "thinner",
    "thumb",
    "alternate",
    "shape",
    "rest",
)

WORDS = {
    CORNER: "that corner alone, round and round, with what stands beside it",
    SLOWER: "all of it slower, until it is clean again",
    THINNER: "one layer thinner, until that runs by itself",
    THUMB: "the thumb alone, until it needs no thought",
    ALTERNATE: "alternate tempos: one pass slow, one fast",
    SHAPE: "another shape for that chord: look for one on the desk",
    REST: "rest it for three days, and come back to it fresh",
}
"""Every remedy in the words the player reads."""

ENOUGH = "good enough at this tempo: keep it up and spend the time elsewhere"

REST_DAYS = 3

PLATEAU = "plateau"
_FITS: Mapping[str, Sequence[str]] = {
    BEAT: (CORNER, SLOWER, THINNER, REST),
    BAR: (CORNER, SLOWER, THINNER, REST),
    CHANGE: (CORNER, SHAPE, THUMB, SLOWER, REST),
    EVERY: (THINNER, SLOWER, THUMB, REST),
    FINGER: (THINNER, SLOWER, REST),
    PLATEAU: (ALTERNATE, THINNER, REST),
}
_A_CORNER = 2
_CLOSE = 0.05
"""How near its target, as a share, a drill that gets no faster is good enough at once (ours, no source)."""

_LIKE = 8  # tempos are alike within so many fine bins of half a per cent: 4 %, about one step
BETTER = 0.05  # the chance below which "cleaner since" is said
_ENOUGH_PASSES = 20  # passes at like tempos since, after which a remedy without a sign of help has had its go (ours)
_BEFORE_DAYS = 28
_AGAIN_AFTER_DAYS = 56  # a remedy tried longer ago may be tried again


@dataclass(frozen=True)
class Course:
    """A remedy the player took up: which, for what, and since when; `day` is the player's own date then."""

    drill: str
    remedy: str
    what_for: str
    since: datetime
    day: date


@dataclass(frozen=True)
class Outcome:
    """How a course has gone at tempos played both before and since.

    before, since   (clean, all) passes at like tempos
    worked          True: cleaner since than chance would give; False: had its go without a sign of it; None: too early
    chance          of as many clean since, were nothing changed
    """

    before: tuple[int, int]
    since: tuple[int, int]
    worked: bool | None
    chance: float

    @property
    def words(self) -> str:
        """`9 of 20 clean before, 17 of 20 since at like tempos: better since`."""
        told = {True: "better since then", False: "no sign that it helped", None: "cannot tell yet"}[self.worked]
        if not self.since[1]:
            return f"no passes since at tempos like before: {told}"
        before = f"{self.before[0]} of {self.before[1]} clean before"
        return f"{before}, {self.since[0]} of {self.since[1]} since at like tempos: {told}"


def note_text(drill: str, remedy: str, what_for: str) -> str:
    """What the ledger's note of a remedy says."""
    return json.dumps({"drill": drill, "remedy": remedy, "for": what_for}, ensure_ascii=False)


def courses(notes: Iterable[Note]) -> dict[str, list[Course]]:
    """The remedies taken up for each drill, in order; a note that cannot be read is passed over.

    A dropped one is left out when it is the latest of its drill.
    """
    found: dict[str, list[Course]] = defaultdict(list)
    for note in sorted(notes, key=lambda n: (n.at, n.id)):
        if note.kind not in (NoteKind.REMEDY_CHOSEN, NoteKind.REMEDY_DROPPED):
            continue
        try:
            told = json.loads(note.text)
            drill, remedy, what_for = str(told["drill"]), str(told["remedy"]), str(told["for"])
        except (ValueError, TypeError, KeyError, RecursionError):
            continue
        if note.kind == NoteKind.REMEDY_CHOSEN and remedy in WORDS:
            found[drill].append(Course(drill, remedy, what_for, note.at, note.local_day))
        elif note.kind == NoteKind.REMEDY_DROPPED and found[drill] and found[drill][-1].remedy == remedy:
            found[drill].pop()
    return dict(found)


def resting(taken: Mapping[str, Sequence[Course]], today: date) -> frozenset[str]:
    """The drills whose latest remedy is a rest that is not over yet."""
    return frozenset(drill for drill, own in taken.items() if own and _rests(own[-1], today))


def _rests(course: Course, today: date) -> bool:
    return course.remedy == REST and 0 <= (today - course.day).days < REST_DAYS


def clean_by_tempo(takes: Iterable[Take], layer: str = FULL) -> dict[int, tuple[int, int]]:
    """(clean, all) passes of a layer for each step of like tempos, 4 % wide; singing counts as for the steady tempo."""
    found: dict[int, tuple[int, int]] = {}
    for take in takes:
        for one in take.passes:
            mode, counted = find_counted_layer(take.drill, take.mode, one.layer)
            if counted == layer and one.bars and counts_for(layer, mode):
                step = fine_bin(one.tempo) // _LIKE
                clean, total = found.get(step, (0, 0))
                found[step] = (clean + one.clean, total + 1)
    return found


def as_clean_by_chance(before: Mapping[int, tuple[int, int]], since: Mapping[int, tuple[int, int]]) -> float:
    """The chance of as many clean passes since, over all steps of like tempo together, were nothing changed.

    Within each step the clean passes fall to before and since as drawn without looking (Fisher's exact test); the
    steps' counts add up, so tempos are never mixed: the exact form of the stratified test of Mantel & Haenszel 1959
    (J. Natl. Cancer Inst. 22:719-748; from memory). 1 where there is nothing to compare.
    """
    law, seen = [1.0], 0
    for step in before.keys() & since.keys():
        (clean_a, all_a), (clean_b, all_b) = before[step], since[step]
        clean = clean_a + clean_b
        ways = math.comb(all_a + all_b, clean)
        one = [
            math.comb(all_b, k) * math.comb(all_a, clean - k) / ways if k <= clean else 0.0 for k in range(all_b + 1)
        ]
        law = [
            math.fsum(law[i] * one[k - i] for i in range(max(0, k - all_b), min(k, len(law) - 1) + 1))
            for k in range(len(law) + all_b)
        ]
        seen += clean_b
    return min(1.0, math.fsum(law[seen:]))


def judged(course: Course, takes: Sequence[Take]) -> Outcome:
    """How the drill's passes before and since a course compare, from its takes in whatever order."""
    start = course.since - timedelta(_BEFORE_DAYS)
    before = clean_by_tempo(t for t in takes if start <= t.at < course.since)
    since = clean_by_tempo(t for t in takes if t.at >= course.since)
    both = before.keys() & since.keys()
    chance = as_clean_by_chance(before, since)
    sums = [(sum(side[s][0] for s in both), sum(side[s][1] for s in both)) for side in (before, since)]
    worked = True if chance < BETTER else False if min(sums[0][1], sums[1][1]) >= _ENOUGH_PASSES else None
    return Outcome(sums[0], sums[1], worked, chance)


@dataclass(frozen=True)
class Finding:
    """What is known of one drill: its trouble and its curve, what is being done, how that went, what is proposed.

    `remedy` is one of WORDS: the one under way, or the next proposed; None when nothing is to be done. `good_enough`
    when it has stopped getting faster and what could be tried was tried, or it is near its target anyway.
    """

    drill: str
    trouble: Trouble | None = None
    curve: Curve | None = None
    course: Course | None = None
    outcome: Outcome | None = None
    remedy: str | None = None
    good_enough: bool = False

    @property
    def what_for(self) -> str:
        """What a remedy taken up now is for, as its note says it."""
        return PLATEAU if self.trouble is None else self.trouble.spot.name

    @property
    def under_way(self) -> bool:
        """True while the remedy is one the player has taken up and that is still open."""
        return self.course is not None and self.remedy == self.course.remedy and not self.good_enough

    @property
    def trouble_words(self) -> str | None:
        """What is amiss in one clause, None when nothing is."""
        if self.trouble is not None:
            return self.trouble.words
        stuck = self.curve is not None and self.curve.flat and (self.remedy is not None or self.good_enough)
        return self.curve.words if self.curve is not None and stuck else None

    @property
    def remedy_words(self) -> str | None:
        """What is to be done in one clause, None when there is nothing."""
        return ENOUGH if self.good_enough else WORDS[self.remedy] if self.remedy else None

    @property
    def lines(self) -> tuple[str, ...]:
        """All of it as clauses: trouble, curve, remedy, how it goes."""
        found = [self.trouble.words if self.trouble is not None else "", self.curve.words if self.curve else ""]
        if self.remedy_words:
            found.append(f"{'under way' if self.under_way else 'try'}: {self.remedy_words}")
        if self.course is not None and self.outcome is not None:
            found.append(f"{self.course.remedy} since {self.course.day.day} {self.course.day:%B}: {self.outcome.words}")
        return tuple(filter(None, found))


def finding(
    drill: str,
    trouble: Trouble | None,
    curve: Curve | None,
    taken: Sequence[Course],
    takes: Sequence[Take],
    target_bpm: float,
    today: date,
) -> Finding:
    """What is to be said of a drill with these courses `taken` so far, and which one remedy comes now.

    `taken` and `takes` are the drill's own. A course that is open is gone on with; one that had its go is not proposed
    again for eight weeks. Where the curve is flat and near the target, or everything was tried, it is good enough.
    """
    latest = taken[-1] if taken and (today - taken[-1].day).days <= _BEFORE_DAYS else None
    outcome = judged(latest, takes) if latest is not None else None
    if latest is not None and outcome is not None:
        # A rest is open while it lasts, another remedy while it cannot be told.
        still_open = _rests(latest, today) if latest.remedy == REST else outcome.worked is None
        if still_open:
            return Finding(drill, trouble, curve, latest, outcome, latest.remedy)
    flat = curve is not None and curve.flat and curve.bpm < target_bpm
    if trouble is None and (curve is None or not flat):
        return Finding(drill, None, curve, latest, outcome)
    if trouble is None and curve is not None and curve.bpm >= target_bpm * (1 - _CLOSE):
        return Finding(drill, None, curve, latest, outcome, good_enough=True)
    tried = {
        c.remedy
        for c in taken
        if (c.what_for == PLATEAU) == (trouble is None) and (today - c.day).days <= _AGAIN_AFTER_DAYS
    }
    remedy = next((r for r in fitting(trouble) if r not in tried), None)
    return Finding(drill, trouble, curve, latest, outcome, remedy, good_enough=remedy is None and flat)


def fitting(trouble: Trouble | None) -> tuple[str, ...]:
    """The remedies for a trouble (for a plateau, when None) in the order they are tried."""
    if trouble is None:
        return tuple(_FITS[PLATEAU])
    first = (THUMB,) if trouble.spot.kind == FINGER and trouble.spot.name == THUMB_SPOT else ()
    fits = (*first, *_FITS[trouble.spot.kind])
    # A loop of two bars is its own corner.
    return fits if trouble.bars > _A_CORNER else tuple(r for r in fits if r != CORNER)


def describe_take(before: SteadyTempo | None, now: SteadyTempo | None, found: Finding | None) -> tuple[str, ...]:
    """What a take has shown, in a few lines for the page of its verdict.

    The steady tempo as it is now known and what it was before the take; where stumbles gather, what is done or may be
    done about it, and how that has gone. Nothing where nothing can be told.
    """
    lines = [_steady_tempo_words(before, now)] if now is not None else []
    if found is not None:
        lines += [line for line in found.lines if found.curve is None or line != found.curve.words]
    return tuple(lines)


def _steady_tempo_words(before: SteadyTempo | None, now: SteadyTempo) -> str:
    words = f"steady at {now.bpm:.0f} bpm ({now.low:.0f} to {now.high:.0f})"
    if before is None:
        return f"{words}, known from now on"
    moved = f"was {before.bpm:.0f}" if round(before.bpm) != round(now.bpm) else "as before"
    return f"{words}, {moved}"
