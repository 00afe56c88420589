"""Listening blocks: what is heard before the hands try it, a minute at a time.

Hearing a model raised what was gained in rhythm and tempo, whatever way the tempo was built up (Henley 2001, JRME
49:37-47). So it is heard before the first take of something new, before a thing is sung for the first time, and when it
comes back after long; from the second time on the hand knows. Listening is no practice of the hands: it is no take, it
grades nothing, and its minutes count for nothing but the plan's length.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import date

from coach.drills.drill_id import Kind
from coach.log.notes import NoteKind
from coach.log.takes import Note
from coach.plan.need import View

LISTEN_MINUTES = 1
LISTEN_FROM = 12
"""Plans of fewer minutes have none: the guide is heard for one pass before the first take anyway (ours, no source)."""
MOST_A_DAY = 2
AWAY_DAYS = 21
_LEAST_LEFT = 2  # minutes that are left of the turn it is taken from
_FAINT = 0.8


def heard_today(notes: Iterable[Note], today: date) -> frozenset[str]:
    """The drills that were listened to on a local day, from the ledger's notes."""
    return frozenset(n.text for n in notes if n.kind == NoteKind.LISTENED and n.local_day == today)


def to_hear(order: Sequence[View], minutes: Sequence[int], heard: Collection[str]) -> dict[int, tuple[str, ...]]:
    """Which of a plan's turns begin with listening, and why: place in `order` to reasons; `minutes` are the turns' own.

    At the first turn of a drill only, twice at the most with what was heard already (what is sung first), never where
    too little of the turn is left, and never before the first turn of all: the hands come in first.
    """
    ranked: list[tuple[int, int, str]] = []
    met: set[str] = set(heard)
    for place, (view, length) in enumerate(zip(order, minutes, strict=True)):
        id_ = view.drill.id
        if id_ in met:
            continue
        met.add(id_)
        why = _why(view)
        if why and place and length >= LISTEN_MINUTES + _LEAST_LEFT:
            ranked.append((_rank(view), place, why))
    chosen = sorted(sorted(ranked)[: max(MOST_A_DAY - len(heard), 0)], key=lambda entry: entry[1])
    return {place: (why, "hands at rest: hum it, tap it, follow the page") for _, place, why in chosen}


def _rank(view: View) -> int:
    """What is sung first, then what is music by itself, then a pattern (ours, no source)."""
    if view.drill.parsed_id.has_voice:
        return 0
    return 1 if view.drill.kind.traits.is_music else 2


def _why(view: View) -> str:
    if view.drill.kind in (Kind.CORNER, Kind.SPOKEN):
        return ""  # of what was heard whole, or played, before
    if not view.known:
        sung = bool(view.drill.parsed_id.voice)
        return "first sung today: the tune over the picking" if sung else "new today: heard first"
    since, now = view.days_since or 0, view.recall
    if since < AWAY_DAYS or now is None:
        return ""
    faint = f", recall now about {now:.0%}" if now < _FAINT else ""
    return f"last played {since} days ago{faint}: heard again first"
