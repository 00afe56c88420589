"""What the player wishes of today's plan: a value the planner obeys, kept as notes in the ledger.

Notes, not a file of their own: they are written and merged like all else the player does, an undo is one more note, so
nothing is ever overwritten, and a wish of yesterday is gone by itself because its local day is.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from coach.log.notes import NoteKind
from coach.log.takes import Note

PIN, SKIP, SWAP, MINUTES, UNDO = "pin", "skip", "swap", "minutes", "undo"


@dataclass(frozen=True)
class Wishes:
    """Drills by id. A swap is (what goes, what comes in its place). `minutes` stand before those asked for."""

    pinned: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()
    swapped: tuple[tuple[str, str], ...] = ()
    minutes: int | None = None


def wish_text(deed: str, *what: str | int) -> str:
    """What the ledger's note of a wish says: PIN or SKIP a drill, SWAP two, MINUTES and how many, UNDO alone."""
    return json.dumps([deed, *what], ensure_ascii=False)


def wishes_of(notes: Iterable[Note], today: date) -> Wishes:
    """What the notes of a local day come to; an undo takes back the latest wish, a note nobody can read is passed over.

    A later wish about a drill stands in the place of an earlier one.
    """
    wishes = Wishes()
    for deed, *what in standing_wishes(notes, today):
        wishes = _with(wishes, deed, what)
    return wishes


def standing_wishes(notes: Iterable[Note], today: date) -> list[list[str | int]]:
    """The wishes of a local day that were not taken back, in order, each as its deed and what it is about."""
    stands: list[list[str | int]] = []
    for note in sorted(notes, key=lambda n: (n.at, n.id)):
        if note.kind != NoteKind.WISH or note.local_day != today:
            continue
        try:
            wish = json.loads(note.text)
        except (ValueError, RecursionError):
            continue
        if wish == [UNDO]:
            stands[-1:] = []
        elif isinstance(wish, list) and _sound(wish):
            stands.append(wish)
    return stands


def _sound(wish: list[object]) -> bool:
    match wish:
        case ["pin" | "skip", str()] | ["swap", str(), str()]:
            return True
        case ["minutes", int(minutes)]:
            return 1 <= minutes <= 240 and not isinstance(minutes, bool)
    return False


def _with(wishes: Wishes, deed: str | int, what: list[str | int]) -> Wishes:
    if deed == MINUTES:
        return replace(wishes, minutes=int(what[0]))
    names = [str(w) for w in what]
    pinned = tuple(d for d in wishes.pinned if d not in names)
    skipped = tuple(d for d in wishes.skipped if d not in names)
    swapped = tuple(s for s in wishes.swapped if not set(s) & set(names))
    if deed == PIN:
        return replace(wishes, pinned=(*pinned, *names), skipped=skipped, swapped=_kept(wishes, names[0]))
    if deed == SKIP:
        return replace(wishes, pinned=pinned, skipped=(*skipped, *names), swapped=swapped)
    # What came in by a swap and is swapped again: the first goes, the newest comes.
    first = next((a for a, b in wishes.swapped if b == names[0]), names[0])
    return replace(wishes, pinned=pinned, skipped=skipped, swapped=(*swapped, (first, names[1])))


def _kept(wishes: Wishes, pinned: str) -> tuple[tuple[str, str], ...]:
    """The swaps that leave a pinned drill where it is."""
    return tuple(s for s in wishes.swapped if s[0] != pinned)
