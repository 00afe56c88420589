"""What the songbook says, as lines: the list of songs; of one song its arrangements, how far each part is, what next.

What fades is told by a sign and in words, never by colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from textwrap import wrap

from coach.drills.drill_id import Kind, Voice
from coach.drills.song_choices import Settled
from coach.skill.readiness import (
    BEGUN,
    HELD,
    NEW,
    PLAYED,
    READY,
    STEADY,
    DrillState,
    ReadinessRow,
    choose_next,
    readiness,
)
from coach.song.chart import Song
from coach.song.perform import sounding_key

FADES = "↓"
_COLUMNS = ((PLAYED, "played"), (Voice.SING, "sung"), (Kind.SPOKEN, "spoken"), (Voice.SING_FULL, "sung over all"))
"""In the order in which they are dropped from the right where there is no room; shown in the order of WAYS."""
_SHOWN = (PLAYED, Kind.SPOKEN, Voice.SING, Voice.SING_FULL)
CELL, LEAST_NAME, MOST_NAME = 14, 12, 30
_OTHER = (PLAYED, Voice.SING)  # what is shown of the other arrangement where there is room
_NAMED_KINDS = (Kind.CHANGE, Kind.PATTERN, Kind.CORNER)


@dataclass(frozen=True)
class SongLine:
    """A song in the list. `practised`: its drills enter the plan; `due` of its parts should come back by today."""

    song: Song
    settled: Settled
    practised: bool
    last: date | None = None
    due: int = 0


def list_line(one: SongLine, today: date, width: int) -> str:
    """`Last Boat Over          in 5 days`."""
    right = tag(one, today)
    room = max(width - len(right) - 1, 4)
    title = one.song.title if len(one.song.title) <= room else one.song.title[: room - 1] + "…"
    return f"{title.ljust(room)} {right}"


def tag(one: SongLine, today: date) -> str:
    """How a song stands in one or two words."""
    if one.settled.resting:
        return "rests"
    if one.settled.due is not None and one.settled.due >= today:
        left = (one.settled.due - today).days
        return "today" if left == 0 else f"in {left} day{'' if left == 1 else 's'}"
    if one.due:
        return f"{one.due} due"
    if not one.song.arrangements:
        return "to arrange"
    return "" if one.practised else "not begun"


def list_order(one: SongLine, today: date) -> tuple[object, ...]:
    """What is wanted by a day first, then what is the player's or was played lately, what rests last."""
    due = one.settled.due
    wanted = due if due is not None and due >= today and not one.settled.resting else date.max
    played = -(one.last.toordinal()) if one.last else 0
    return one.settled.resting, wanted, not (one.practised or one.song.own), played, one.song.title.casefold()


def head_lines(
    one: SongLine, arrangement: str, rows: Sequence[ReadinessRow], today: date, width: int, *, short: bool = False
) -> list[str]:
    """The song, its arrangements with the one in hand marked, day and rest, and, where it is not to be `short`, how far
    it is in a sentence.
    """
    song = one.song
    facts = [song.key.title, str(song.meter), f"{float(song.tempo):g} bpm", " ".join(_order(song))]
    found = [song.title, ", ".join(facts)]
    if song.arrangements:
        found.append("  ".join(_arrangement(song, name, name == arrangement) for name in song.arrangements))
    settled = one.settled
    told = []
    if settled.resting:
        told.append("It rests: nothing of it comes into today's plans.")
    elif settled.due is not None:
        left = (settled.due - today).days
        when = f"{settled.due:%A} {settled.due.day} {settled.due:%B}"
        told.append(f"Wanted by {when}, {_days(left)}." if left >= 0 else f"It was wanted by {when}.")
    elif not one.practised and song.arrangements:
        told.append("Not begun: play it, or take it up, and it comes into today's plans.")
    if one.last is not None:
        told.append(f"Last played {_ago((today - one.last).days)}.")
    if told:
        found.append(" ".join(told))
    sentence = readiness(rows)
    if sentence and not short:
        found.append(f"{sentence}.")
    return [line for text in found for line in (wrap(text, max(width, 20)) or [""])]


def _order(song: Song) -> list[str]:
    """`Intro Verse Chorus×2` in few cells: the parts and how often each comes."""
    names = dict.fromkeys(song.order)
    return [f"{name}×{song.order.count(name)}" if song.order.count(name) > 1 else name for name in names]


def _arrangement(song: Song, name: str, in_hand: bool) -> str:
    way = song.arrangements[name]
    capo = f", capo {way.capo}" if way.capo else ""
    return f"{'▸' if in_hand else ' '}{name}: {(way.key or song.key).title} shapes{capo}" + (
        f", sounds in {sounding_key(song, way).title}" if way.capo else ""
    )


@dataclass(frozen=True)
class Column:
    """A way of the arrangement in hand, or of the `other` one, and the words over it."""

    way: str
    head: str
    other: bool = False


def columns(width: int, other: str = "") -> list[Column]:
    """The columns there is room for beside the names; of the arrangement called `other` what still fits."""
    fit = max((width - LEAST_NAME) // CELL, 1)
    heads = dict(_COLUMNS)
    kept = [way for way, _ in _COLUMNS[:fit]]
    found = [Column(way, heads[way]) for way in _SHOWN if way in kept]
    if other:
        room = (width - LEAST_NAME * 2) // CELL - len(found)
        name = other if len(other) <= CELL - 8 else other[: CELL - 9] + "…"
        found += [Column(way, f"{name}: {heads[way]}", True) for way in _OTHER][: max(room, 0)]
    return found


def _name_room(width: int, shown: Sequence[Column]) -> int:
    return min(width - CELL * len(shown), MOST_NAME)


def table_head(width: int, other: str = "") -> str:
    """The line over the rows."""
    shown = columns(width, other)
    return " " * _name_room(width, shown) + "".join(one.head.ljust(CELL) for one in shown)


def row_line(row: ReadinessRow, width: int, other: str = "", there: ReadinessRow | None = None) -> str:
    """A part or drill and how each way of it stands; `there` is the same in the other arrangement."""
    shown = columns(width, other)
    room = _name_room(width, shown)
    name = f"{row.kind} {row.name}" if row.kind in _NAMED_KINDS else row.name
    name = name if len(name) < room else name[: room - 2] + "…"
    ways = (dict(there.ways) if there and one.other else {} if one.other else row.ways for one in shown)
    cells = (cell(own.get(one.way)).ljust(CELL) for own, one in zip(ways, shown, strict=True))
    return name.ljust(room) + "".join(cells)


def cell(one: DrillState | None) -> str:
    """`steady 84/92`, `new`; with a sign after it where it fades; blank where there is no such way."""
    if one is None:
        return ""
    told = {
        NEW: "new",
        BEGUN: "begun",
        HELD: f"held {one.bpm or 0:.0f}/{one.drill.target_bpm}",
        STEADY: f"steady {one.bpm or 0:.0f}/{one.drill.target_bpm}",
        READY: f"ready {one.drill.target_bpm}",
    }[one.how]
    return f"{told}{FADES if one.fades else ''}"


def foot(rows: Sequence[ReadinessRow], chosen: ReadinessRow | None) -> str:
    """What the chosen line is like, else what is next; and what the sign of fading means where it is seen."""
    told = []
    if chosen is not None and chosen.kind == Kind.PART:
        told.append(f"{chosen.name}: {chosen.first.words}")
    following = choose_next(rows)
    if following is not None:
        told.append(f"next: {following.drill.title} ({following.words})")
    if any(one.fades for row in rows for one in row.ways.values()):
        told.append(f"{FADES} fades: play it soon")
    return " · ".join(told)


def due_count(stands: Mapping[str, DrillState]) -> int:
    """How many drills of a song fade."""
    return sum(one.fades for one in stands.values())


def _days(left: int) -> str:
    return "today" if left == 0 else "in 1 day" if left == 1 else f"in {left} days"


def _ago(days: int) -> str:
    return "today" if days <= 0 else "yesterday" if days == 1 else f"{days} days ago"
