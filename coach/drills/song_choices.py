"""What the player settled about songs: taken up, wanted by a day, put to rest. Kept as notes in the ledger.

Notes, not a file of their own: they are written beside the takes, merged from two machines in whatever order, and
nothing is ever overwritten; what was settled last about a song holds.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from coach.errors import BadInput
from coach.log.notes import NoteKind
from coach.log.takes import Note

TAKE_UP, DUE, REST, WAKE = "take up", "due", "rest", "wake"
"""TAKE_UP a song; DUE by a day, or by none; REST; WAKE brings it back from its rest."""


@dataclass(frozen=True)
class Settled:
    """What holds for one song: `due` is the local day by which it must be ready, None for none."""

    taken: bool = False
    due: date | None = None
    resting: bool = False


def note_text(deed: str, song: str, day: date | None = None) -> str:
    """What the ledger's note says; `day` belongs to DUE alone, None takes a day back."""
    return json.dumps([deed, song, *([day.isoformat() if day else None] if deed == DUE else [])], ensure_ascii=False)


def settled(notes: Iterable[Note]) -> dict[str, Settled]:
    """What holds for each song that something was settled about; a note nobody can read is passed over."""
    by_song: dict[str, Settled] = {}
    for note in sorted(notes, key=lambda n: (n.at, n.id)):
        if note.kind != NoteKind.SONG_SETTLED:
            continue
        try:
            choice = json.loads(note.text)
        except (ValueError, RecursionError):
            continue
        match choice:
            case ["take up" | "wake", str(song)]:
                by_song[song] = replace(by_song.get(song, Settled()), taken=True, resting=False)
            case ["rest", str(song)]:
                by_song[song] = replace(by_song.get(song, Settled()), resting=True)
            case ["due", str(song), None]:
                by_song[song] = replace(by_song.get(song, Settled()), due=None)
            case ["due", str(song), str(text)] if (day := _day(text)) is not None:
                by_song[song] = replace(by_song.get(song, Settled()), due=day, taken=True, resting=False)
    return by_song


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def read_day(text: str, today: date) -> date:
    """The day meant by `2026-12-05`, `12-05` (the next one) or `+5` (in 5 days).

    Raises BadInput, also for a day gone by.
    """
    said = text.strip()
    mend = f"write it like {today.isoformat()}, {today:%m-%d}, or +14 for in 14 days"
    day = _day(said)
    if day is None and said.startswith("+") and said[1:].isascii() and said[1:].isdecimal() and len(said) < 6:
        day = date.fromordinal(min(today.toordinal() + int(said[1:]), date.max.toordinal()))
    if day is None:
        try:
            month_day = datetime.strptime(f"2000-{said}", "%Y-%m-%d").date()
            coming = (_in(month_day, year) for year in range(today.year, today.year + 9))
            day = next((that for that in coming if that is not None and that >= today), None)
        except ValueError:
            day = None
    if day is None:
        raise BadInput(f"'{text}' is not a day", mend=mend)
    if day < today:
        raise BadInput(f"{day.isoformat()} has gone by", mend=mend)
    return day


def _in(day: date, year: int) -> date | None:
    """That day in a year; None where the year has no 29 February."""
    try:
        return day.replace(year=year)
    except ValueError:
        return None
