"""The bare shape of a plan: runs of playing with rests between, cut into turns, and who gets which turn.

Turns of about three minutes, in turn about: interleaved practice held up at least as well a day later, in some
measures better (Carter & Grahn 2016, Front. Psychol. 7:1251; Stambaugh 2011), though pooled effects outside the
laboratory are small (Czyż et al. 2024, Sci. Rep. 14:15974). Rests: five minutes in each half hour (BAPAM).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import TypeVar

from coach.errors import BadInput

LONGEST_RUN = 30
K = TypeVar("K", bound=Hashable)


def runs(minutes: int, run: int = 25, rest: int = 5, before: float = 0.0) -> tuple[int, ...]:
    """Lengths in minutes of the playing between rests, as even as can be; `before` minutes were just played.

    Up to half an hour needs no rest. Beyond it, no run is longer than `run`, so each half hour has its rest. The first
    run goes on with what was played before; where it is 0, the rest comes first. () where that leaves nothing to play.

    >>> runs(20), runs(55), runs(60)
    ((20,), (25, 25), (17, 17, 16))
    >>> runs(20, before=30), runs(40, before=10), runs(3, before=29)
    ((0, 15), (12, 23), ())
    """
    if minutes <= room_left(run, rest, before):
        return (minutes,)
    ready = max(int(run - before), 0)
    rests = max(1, math.ceil((minutes - ready) / (run + rest)))
    playing = minutes - rests * rest
    if playing < 1:
        return ()
    if not before:
        return even(playing, rests + 1)
    first = max(int((playing + before) / (rests + 1) - before), playing - rests * run, 0)
    return (first, *even(playing - first, rests)) if first < playing else (first,)


def room_left(run: int = 25, rest: int = 5, before: float = 0.0) -> int:
    """Whole minutes that may be played before the next rest, when `before` minutes were just played."""
    return max(int(min(LONGEST_RUN, run + rest) - before), 0)


def even(total: int, parts: int) -> tuple[int, ...]:
    """`total` in whole minutes cut into `parts` as equal as can be, longer ones first."""
    base, more = divmod(total, parts)
    return (base + 1,) * more + (base,) * (parts - more)


def turn_minutes(minutes: int, usual: int = 3) -> int:
    """About how long a turn is in a plan of `minutes`: shorter in a short plan, so that things still alternate."""
    if minutes < 4:
        return minutes
    return usual if minutes >= 12 else min(usual, 2)


def cut(run: int, turn: int) -> tuple[int, ...]:
    """A run cut into turns of about `turn` minutes."""
    return even(run, max(1, round(run / turn)))


def shares(items: Sequence[K], turns: int) -> dict[K, int]:
    """How many of `turns` each item gets: alike, what is left over to the first ones."""
    base, more = divmod(turns, len(items))
    return {item: base + (i < more) for i, item in enumerate(items)}


def arrange(
    counts: Mapping[K, int], first: K, last: K, apart: Callable[[K, K], bool] = lambda a, b: False
) -> tuple[K, ...] | None:
    """An order in which each item has its count of turns, none follows itself, and the ends are as asked.

    `counts` is in order of need, which breaks ties; the item not heard for longest goes first. `apart(a, b)` says
    that a and b must not be the last two. None when there is no such order.
    """
    left = {item: n for item, n in counts.items() if n}
    total = sum(left.values())
    for end in (first, last) if total > 1 else (first,):
        left[end] = left.get(end, 0) - 1
    same_pair = total == 2 and (first == last or apart(first, last))
    if min(left.values()) < 0 or same_pair or (total == 1 and first != last):
        return None
    if total <= 2:
        return (first, last)[:total]
    order = [first]
    rank = {item: i for i, item in enumerate(left)}
    seen = {first: 0}
    before_last = {item for item in left if item != last and not apart(item, last)}
    budget = [2000]  # steps of the search; reached only by counts no plan gives

    def fill(slots: int) -> bool:
        if slots == 0:
            return True
        budget[0] -= 1
        if budget[0] < 0 or any(n > _room(slots, order[-1] == item, last == item) for item, n in left.items()):
            return False
        if not any(left[item] for item in before_last):  # kept till the end: else the search would find out late
            return False
        ready = [item for item, n in left.items() if n and item != order[-1]]
        if slots == 1:
            ready = [item for item in ready if item in before_last]
        for item in sorted(ready, key=lambda i: (-left[i], seen.get(i, -1), rank[i])):
            before = seen.get(item)
            left[item] -= 1
            order.append(item)
            seen[item] = len(order)
            if fill(slots - 1):
                return True
            left[item] += 1
            order.pop()
            seen.pop(item) if before is None else seen.__setitem__(item, before)
        return False

    return (*order, last) if fill(total - 2) else None


def _room(slots: int, before: bool, behind: bool) -> int:
    """The most turns an item can have in `slots`, when it also stands right before or right behind them."""
    return max((slots + 1 - before - behind) // 2, 0)


def checked_minutes(minutes: int) -> int:
    """Whole minutes from 1 to 240, else BadInput."""
    if isinstance(minutes, bool) or not isinstance(minutes, int) or not 1 <= minutes <= 240:
        raise BadInput(f"'{minutes}' is not a length for a plan", mend="give whole minutes from 1 to 240")
    return minutes
