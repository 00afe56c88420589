"""Which drills get today's turns, how many each, and in which order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from coach.practice.need import Reason, View, ease, need
from coach.practice.turns import arrange, shares

MOST_DRILLS = 12


def easiest_first(views: Iterable[View]) -> list[View]:
    """The most playable first; among alike, the one not played for longest, then the lower rung."""
    return sorted(views, key=lambda v: (-round(ease(v), 1), -(v.days_since or 0), v.rung))


def neediest_first(views: Iterable[View], pressing: Mapping[str, Sequence[Reason]]) -> list[View]:
    """The most points first, then the lower rung."""
    return sorted(views, key=lambda v: (-need(v, pressing.get(v.drill.id, ())), v.rung))


def turn_order(
    known: Sequence[View],
    new: Sequence[View],
    count: int,
    first_day: bool,
    pressing: Mapping[str, Sequence[Reason]],
) -> tuple[View, ...]:
    """`count` turns: easy first, the neediest and the new in the middle, something playable last, none twice in a row.

    On a first day nothing is known of the drills but their place on the ladder, which then stands for both ease and
    need. With one drill only it has every turn.
    """
    by_ease = sorted(known, key=lambda v: v.rung) if first_day else easiest_first(known)
    ranked = by_ease if first_day else neediest_first(known, pressing)
    if count == 1:
        return (ranked[0],)
    opener = by_ease[0]
    room = max(min(count, 3), min(MOST_DRILLS, round(count / 2)))
    new = list(new)[: max(room - 1, 0) if count >= 3 else 0]
    chosen = ranked[: room - len(new)]
    extra = opener not in chosen
    if extra:
        chosen[-1:] = []
    chosen = [v for v in (opener, *chosen) if v is not opener] + new
    counts = _counts(opener, chosen, count, extra)
    if not chosen:
        return (opener,) * count
    views = {v.drill.id: v for v in (opener, *chosen)}
    fresh = {id_ for id_, v in views.items() if not v.known or v.begun_today}

    def alike(a: str, b: str) -> bool:
        return a in fresh and b in fresh and views[a].drill.family == views[b].drill.family

    closers = by_ease if first_day else _closers([v for v in by_ease if v.drill.id in views], new)
    for apart in (alike, lambda a, b: False):
        for last in (v for v in closers if v.drill.id in counts):
            found = arrange(counts, opener.drill.id, last.drill.id, apart)
            if found is not None:
                return tuple(views[id_] for id_ in found)
    # No order with these ends (counts that no plan gives): plain turns, which keep the first law.
    wheel = list(views.values())
    return tuple(wheel[i % len(wheel)] for i in range(count))


def _counts(opener: View, others: Sequence[View], count: int, extra: bool) -> dict[str, int]:
    """Turns for each, the neediest of the others named first. An opener with no need of its own has two at most."""
    ids = [v.drill.id for v in others]
    if extra and len(ids) > 1:
        own = 2 if count >= 5 else 1
        return {**shares(ids, count - own), opener.drill.id: own}
    split = shares([opener.drill.id, *ids], count)
    return {**{i: split[i] for i in ids}, opener.drill.id: split[opener.drill.id]}


def _closers(by_ease: Sequence[View], new: Sequence[View]) -> list[View]:
    """Who may close, best first: playable but not the opener again, then the opener; the hardest and the new last."""
    if len(by_ease) < 2:
        return [*by_ease, *new]
    opener, *middle = by_ease
    hardest = middle.pop()
    return [*middle[: max(1, len(middle) // 2)], opener, *middle[max(1, len(middle) // 2) :], hardest, *new]
