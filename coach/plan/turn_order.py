"""Which drills get today's turns, how many each, and in which order."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from coach.plan.need import Reason, View, ease, need
from coach.plan.turns import arrange, shares
from coach.plan.wishes import Wishes

MOST_DRILLS = 12
"""Different drills in a plan; below that each turn is another's. Days apart help what is learned, minutes apart do not
(Donovan & Radosevich 1999; Wiseheart, D'Souza & Chae 2017), so a thing rather has a turn every day than two every other
day."""
_EASY_ENOUGH = 0.7  # how playable one of today's own must be to open the evening (ours, no source)

Pressing = Mapping[str, Sequence[Reason]]
Rank = Callable[[Iterable[View]], list[View]]


def easiest_first(views: Iterable[View]) -> list[View]:
    """The most playable first; among alike, the one not played for longest, then the lower rung."""
    return sorted(views, key=lambda v: (-round(ease(v), 1), -(v.days_since or 0), v.rung))


def neediest_first(views: Iterable[View], pressing: Pressing) -> list[View]:
    """The most points first, then the lower rung."""
    return sorted(views, key=lambda v: (-need(v, pressing.get(v.drill.id, ())), v.rung))


def _by_rung(views: Iterable[View]) -> list[View]:
    return sorted(views, key=lambda v: v.rung)


def choose_today(
    known: Sequence[View],
    new: Sequence[View],
    room: int,
    at_once: int,
    pressing: Pressing,
    wishes: Wishes,
    rank: Rank,
) -> list[View]:
    """At most `room` drills of the known and the new: what is pinned, what presses from outside (half of them at most),
    what is new, what is due for upkeep (a third), and the few on the way to their targets that the days allow
    (`at_once`), each in the order `rank` gives. What is left over goes to the rest, so that a plan is never of fewer
    drills than there are; only then are all of them ranked, which may be thousands.
    """
    pinned = [*rank(v for v in known if v.drill.id in wishes.pinned), *(v for v in new if v.drill.id in wishes.pinned)]
    pressed = neediest_first([v for v in known if v.drill.id in pressing], pressing)[: max(1, room // 2)]
    upkeep = rank(v for v in known if v.finished and v.due)[: max(1, room // 3)]
    on_the_way = rank(v for v in known if not v.finished and not v.stuck)[:at_once]
    order = {v.drill.id: v for v in (*pinned, *pressed, *new, *upkeep, *on_the_way)}
    if len(order) < room:
        order |= {v.drill.id: v for v in rank(v for v in known if v.drill.id not in order)}
    chosen = list(order.values())[: max(room, len(pinned))]
    by_id = {v.drill.id: v for v in (*known, *new)}
    for out, into in wishes.swapped:
        ids = [v.drill.id for v in chosen]
        if out in ids and into in by_id:
            if into in ids:
                chosen = [v for v in chosen if v.drill.id != out]
            else:
                chosen[ids.index(out)] = by_id[into]
    return chosen


def turn_order(
    known: Sequence[View],
    new: Sequence[View],
    count: int,
    first_day: bool,
    pressing: Pressing,
    at_once: int = 6,
    wishes: Wishes | None = None,
) -> tuple[View, ...]:
    """`count` turns: easy first, the neediest and the new in the middle, something playable last, none twice in a row.

    On a first day nothing is known of the drills but their place on the ladder, which then stands for both ease and
    need. With one drill only it has every turn.
    """
    use = wishes or Wishes()
    room = max(min(count, 3), min(MOST_DRILLS, count))
    if first_day:
        known = _by_rung(known)
    begun = [] if first_day else new[: max(room - 1, 0) if count >= 3 else 0]
    rank = _by_rung if first_day else lambda views: neediest_first(views, {})
    chosen = choose_today(known, begun, room, at_once, pressing, use, rank)
    if count == 1 or len(chosen) == 1:
        return (chosen[0],) * count
    opener, chosen = _opened(known, chosen, room, first_day, use)
    others = [v for v in chosen if v is not opener]
    if not others:
        return (opener,) * count
    views = {v.drill.id: v for v in (opener, *others)}
    fresh = {id_ for id_, v in views.items() if not v.known or v.begun_today}

    def alike(a: str, b: str) -> bool:
        return a in fresh and b in fresh and views[a].drill.family == views[b].drill.family

    here = [v for v in known if v.drill.id in views]
    if not first_day:
        here = easiest_first(here)
    known_last = here if first_day else _closers(opener, [v for v in here if v is not opener])
    splits = _counts(opener, others, count, first_day)
    for closers in (known_last, new):
        for apart in (alike, lambda a, b: False):
            for last, counts in ((v.drill.id, c) for c in splits for v in closers if v.drill.id in c):
                order = arrange(counts, opener.drill.id, last, apart)
                if order is not None:
                    return tuple(views[id_] for id_ in order)
    # No order with these ends (counts that no plan gives): plain turns, which keep the first law.
    wheel = list(views.values())
    return tuple(wheel[i % len(wheel)] for i in range(count))


def _opened(
    known: Sequence[View], chosen: list[View], room: int, first_day: bool, wishes: Wishes
) -> tuple[View, list[View]]:
    """Who opens, and the drills with it: the easiest of today's own where one is easy enough (what is kept up before
    what is on its way, for which the warm-up's slower tempo would be a turn lost), else the easiest of all, for which
    the least needed of today's then makes room."""
    ids = {v.drill.id for v in chosen}
    own = [v for v in known if v.drill.id in ids]
    if first_day and own:
        return own[0], chosen
    own = easiest_first(own)
    easy = [v for v in own if ease(v) >= _EASY_ENOUGH]
    if easy:
        return next((v for v in easy if v.finished), easy[0]), chosen
    by_ease = easiest_first(known)
    out = {one for one, _ in wishes.swapped}
    ready = [v for v in by_ease if v.drill.id not in out]
    opener = (ready or by_ease or chosen)[0]
    if opener not in chosen and len(chosen) >= room and chosen[-1].drill.id not in wishes.pinned:
        chosen = chosen[:-1]
    return opener, chosen


def _counts(opener: View, others: Sequence[View], count: int, first_day: bool) -> list[dict[str, int]]:
    """Turns for each, the neediest of the others named first: what is kept up has one and the rest share theirs, or,
    where no order can be had with that, all alike."""
    ids = [v.drill.id for v in others]
    once = [v.drill.id for v in (opener, *others) if v.finished and not first_day]
    rest = [i for i in (opener.drill.id, *ids) if i not in once]
    left = count - len(once)
    splits = [shares([opener.drill.id, *ids], count)]
    if once and rest and left >= len(rest) and max((more := shares(rest, left)).values()) <= count // 2:
        splits.insert(0, {**dict.fromkeys(once, 1), **more})
    return [{**{i: split[i] for i in ids}, opener.drill.id: split[opener.drill.id]} for split in splits]


def _closers(opener: View, others: Sequence[View]) -> list[View]:
    """Who may close, best first: playable but not the opener again, then the opener; the hardest last."""
    if not others:
        return [opener]
    middle, hardest = others[:-1], others[-1]
    half = max(1, len(middle) // 2)
    return [*middle[:half], opener, *middle[half:], hardest]
