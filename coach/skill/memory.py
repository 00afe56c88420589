"""Memory: how well a drill is likely to be recalled, and when it should come back. Rebuilt from the ledger at any time.

One grade a drill a local day, from its first takes: what is still there after a night tells of learning, what the
end of the same evening shows need not (Stambaugh 2011, JRME 58:368-383; Simmons 2012, JRME 59:357-368).

The arithmetic is FSRS-6 with the weights of the `fsrs` package (below, with its notice), which the tests hold it to.
They were fitted to words learned by heart, not to hands, so they are a prior and the longest interval is held to three
weeks. The package counts whole spans of 24 hours, which would make Tuesday 18:00 "the same day" as Monday 22:00; here
local days count. There are no steps within a day and no random spreading: the grade is a day's grade, and a plan must
come out the same twice.

The weights are not fitted to one player; only the longest interval is, and shortened (retention.py). With 8 passes in
10 clean on purpose and no interval above three weeks, the first pass of a day says next to nothing of how stable a
memory is: by Fisher's information a scale known to 15 % takes some 7,000 first passes three weeks apart at a stability
of 50 days, 11,000 three days apart at one of 10 days.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from coach.log.takes import VERDICT_PLACES, VERDICTS, Verdict
from coach.picking.layers import FULL
from coach.skill.evidence import ENOUGH_PASSES, stands
from coach.skill.take_summary import TakeSummary

LONGEST_INTERVAL_DAYS = 21
# The package would leave a well-known thing that went shakily for weeks. Ours, no source: lost comes back tomorrow, and
# what is shaky, or has not been held on two days yet, within three.
_LOST_DAYS, _UNSURE_DAYS = 1, 3
NEW, BEING_LEARNED, KEPT_UP = "new", "being learned", "kept up"
_MOST_FIRST_TAKES = 3
_LEAST_STABILITY = 0.001
_SHAKY_PLACE, _HELD_PLACE = VERDICT_PLACES[Verdict.SHAKY], VERDICT_PLACES[Verdict.HELD]


class Memory(NamedTuple):
    """What the ledger says of one drill.

    first_day, last_day  local days of the first and latest grade; `days` how many there were
    stability            days after which recall has fallen to 9 in 10
    difficulty           1 (easy) to 10, as the model sees it
    due                  the local day it should come back
    standing             the latest grade, one of VERDICTS
    first_held           the first local day it stood at `held` or better, None before
    """

    drill: str
    first_day: date
    last_day: date
    days: int
    stability: float
    difficulty: float
    due: date
    standing: str
    first_held: date | None


class Graded(NamedTuple):
    """A memory as grades move it: `place` of the latest grade in VERDICTS, the rest as in Memory."""

    first_day: date
    last_day: date
    days: int
    stability: float
    difficulty: float
    place: int
    first_held: date | None


# The default weights of FSRS-6, w0 to w20, and the steps below that use them are those of the Python package `fsrs`
# 6.3.2 (scheduler.py), under this notice:
#
#   MIT License
#
#   Copyright (c) 2022 Open Spaced Repetition
#
#   Permission is hereby granted, free of charge, to any person obtaining a copy of this software and associated
#   documentation files (the "Software"), to deal in the Software without restriction, including without limitation
#   the rights to use, copy, modify, merge, publish, distribute, sublicense, and/or sell copies of the Software, and to
#   permit persons to whom the Software is furnished to do so, subject to the following conditions:
#
#   The above copyright notice and this permission notice shall be included in all copies or substantial portions of
#   the Software.
#
#   THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT LIMITED TO
#   THE WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT SHALL THE
#   AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF CONTRACT,
#   TORT OR OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN THE
#   SOFTWARE.
_W = (
    0.212, 1.2931, 2.3065, 8.2956, 6.4133, 0.8334, 3.0194, 0.001, 1.8722, 0.1666, 0.796,
    1.4835, 0.0614, 0.2629, 1.6483, 0.6014, 1.8729, 0.5425, 0.0912, 0.0658, 0.1542,
)  # fmt: skip
# The law of forgetting: R = (1 + F·t/S)^decay, with F such that R = 0.9 after S days.
_DECAY = -_W[20]
_FACTOR = 0.9 ** (1 / _DECAY) - 1


def first_graded(grade: int) -> tuple[float, float]:
    """Stability in days and difficulty after a first grade of 1 to 4 (FSRS-6)."""
    return max(_W[grade - 1], _LEAST_STABILITY), min(max(_difficulty(grade), 1.0), 10.0)


def graded(stability: float, difficulty: float, grade: int, days: int) -> tuple[float, float]:
    """Stability in days and difficulty after a grade of 1 to 4 given so many whole days, 1 at least, after the last.

    The package's own steps, written out: through its objects each takes ten times as long, and loading it a quarter of
    the time that a plan may take.
    """
    gone = 1 - (1 + _FACTOR * days / stability) ** _DECAY
    if grade == 1:
        longer = _W[11] * difficulty ** -_W[12] * ((stability + 1) ** _W[13] - 1) * math.exp(gone * _W[14])
        kept = min(longer, stability / math.exp(_W[17] * _W[18]))
    else:
        gain = math.exp(_W[8]) * (11 - difficulty) * stability ** -_W[9] * (math.exp(gone * _W[10]) - 1)
        kept = stability * (1 + gain * (1.0 if grade == 3 else _W[15] if grade == 2 else _W[16]))
    harder = _W[7] * _difficulty(4) + (1 - _W[7]) * (difficulty - _W[6] * (grade - 3) * (10 - difficulty) / 9)
    return max(kept, _LEAST_STABILITY), min(max(harder, 1.0), 10.0)


def _difficulty(grade: int) -> float:
    return _W[4] - math.exp(_W[5] * (grade - 1)) + 1


def after_grade(before: Graded | None, day: date, grade: str) -> Graded:
    """What the grade of one more local day makes of a memory. A day not later than the last changes nothing.

    (Flying west can bring a date twice; the first grade of it stands.)
    """
    place = VERDICT_PLACES[grade]
    if before is None:
        return Graded(day, day, 1, *first_graded(place + 1), place, day if place >= _HELD_PLACE else None)
    first, last, days, stability, difficulty, _, first_held = before
    if day <= last:
        return before
    if first_held is None and place >= _HELD_PLACE:
        first_held = day
    return Graded(first, day, days + 1, *graded(stability, difficulty, place + 1, (day - last).days), place, first_held)


def memory_of(drill: str, told: Graded) -> Memory:
    """The memory of a drill with the day it is due."""
    held = told.place >= _HELD_PLACE and told.first_held != told.last_day
    longest = LONGEST_INTERVAL_DAYS if held else _UNSURE_DAYS if told.place else _LOST_DAYS
    # Recall has fallen to 9 in 10 after as many days as the stability has.
    wait = timedelta(days=min(max(round(told.stability), 1), longest))
    first, last, days, stability, difficulty, place, first_held = told
    return Memory(drill, first, last, days, stability, difficulty, last + wait, VERDICTS[place], first_held)


def graded_of(memory: Memory) -> Graded:
    """A memory as grades move it on."""
    m = memory
    return Graded(m.first_day, m.last_day, m.days, m.stability, m.difficulty, VERDICT_PLACES[m.standing], m.first_held)


def after(memory: Memory | None, drill: str, day: date, grade: str) -> Memory:
    """The memory after one more graded local day (see `after_grade`)."""
    if memory is not None and day <= memory.last_day:
        return memory
    return memory_of(drill, after_grade(None if memory is None else graded_of(memory), day, grade))


def day_grade(takes: Sequence[TakeSummary], held_before: bool, words: Sequence[str | None]) -> str | None:
    """The grade of one drill's takes of one local day, in order; None when they say nothing. `words` are what each of
    them stands at by itself.

    Its first takes at the full layer, until a few passes are counted. A day with thinner layers only shows no more
    than `shaky`, the whole not having been played; for a drill once held in full it says nothing either way.
    """
    if len(takes) == 1 and takes[0].layer == FULL:
        return words[0]
    full = [n for n, t in enumerate(takes) if t.layer == FULL and words[n] is not None]
    if not full and held_before:
        return None
    first: list[TakeSummary] = []
    passes = 0
    for n in full or range(len(takes)):
        take = takes[n]
        first.append(take)
        passes += len(take.cleans)
        if passes >= ENOUGH_PASSES or len(first) == _MOST_FIRST_TAKES or (take.bars and not take.cleans):
            break
    grade = words[n] if len(first) == 1 else stands(first)
    return grade if full or grade is None else VERDICTS[min(VERDICT_PLACES[grade], _SHAKY_PLACE)]


def recall(memory: Memory | None, today: date) -> float | None:
    """How likely the drill is to be recalled today, 0 to 1; None while nothing is known.

    R = (1 + F·t/S)^-w20 with t whole local days since it was last graded (FSRS-6): 1 on that day itself.
    """
    if memory is None:
        return None
    return float((1 + _FACTOR * max((today - memory.last_day).days, 0) / memory.stability) ** _DECAY)


def is_due(memory: Memory | None, today: date) -> bool:
    """True when the drill should come back today or should have before."""
    return memory is not None and memory.due <= today


def state_word(memory: Memory | None, today: date) -> str:
    """`new`, `being learned` or `kept up`.

    Kept up: it stands at `held` or better, and did so already on an earlier local day. What the end of an evening shows
    need not last (see above), so nothing learned today is kept up today.
    """
    if memory is None:
        return NEW
    stands = VERDICT_PLACES[memory.standing] >= _HELD_PLACE
    earlier = memory.first_held is not None and memory.first_held < min(memory.last_day, today)
    return KEPT_UP if stands and earlier else BEING_LEARNED
