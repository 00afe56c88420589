"""The player's shelf: what lies in the shipped and own folders, as values. Reads files and changes none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from coach import places
from coach.guitar.grip import Hand
from coach.guitar.openshapes import ShapeBook, read_shape_book
from coach.picking.library import Library, read_library
from coach.settings import Settings

if TYPE_CHECKING:  # practice brings the ledger and SQLite with it: only for those who ask
    from coach.practice.drills import Drill
    from coach.practice.planner import Plan
    from coach.practice.steady import Steady
    from coach.practice.takes import Take
    from coach.song.songs import SongShelf


def library() -> Library:
    """Shipped and own patterns, and the files that could not be read."""
    return read_library(places.shipped("patterns"), places.patterns())


def songs() -> SongShelf:
    """Shipped and own songs, and the files that could not be read."""
    from coach.song.songs import read_songs

    return read_songs(places.shipped("shared") / "songs", places.songs())


@cache
def shapes() -> ShapeBook:
    """The shipped left-hand shapes; read once."""
    return read_shape_book(places.shipped("shared") / "shapes.toml")


def hand_of(settings: Settings) -> Hand:
    """The fretting hand and the neck that the player set."""
    return Hand(settings.span_mm, settings.thumb_over, settings.barres, settings.scale_mm)


def takes(path: Path | None = None) -> list[Take]:
    """Every take in the ledger (the player's own when None); none, and no file made, where there is none yet.

    Raises CoachError.
    """
    path = path or places.ledger()
    if not path.exists():
        return []
    from coach.practice.ledger import Ledger

    with Ledger(path) as ledger:
        return ledger.takes()


def steadies(drills: Sequence[Drill], today: date, path: Path | None = None) -> dict[str, Steady] | None:
    """The steady tempos known on `today`, from the estimates kept beside the ledger (the player's own when None).

    None where there is no ledger yet. Raises CoachError.
    """
    path = path or places.ledger()
    if not path.exists():
        return None
    from coach.practice.estimates import Estimates
    from coach.practice.ledger import Ledger

    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        return estimates.steadies(drills, today)


def plan_of(
    drills: Sequence[Drill],
    takes: Iterable[Take],
    settings: Settings,
    now: datetime,
    minutes: int,
    known: Mapping[str, Steady] | None = None,
) -> Plan:
    """The plan these drills and takes give with the player's settings and the steady tempos `known` already.

    Raises BadInput for minutes outside 1 to 240.
    """
    from coach.practice import planner

    use = planner.Settings(new_a_day=settings.new_a_day, turn_minutes=settings.turn_minutes)
    steady_of = None if known is None else lambda drill, layer: known.get(drill.id) if layer == "full" else None
    return planner.plan(drills, takes, now, minutes, use, steady_of=steady_of)


def plan_today(settings: Settings, now: datetime, minutes: int | None = None) -> Plan:
    """Today's practice from the library and the ledger as they are now; `minutes` stand before the setting.

    `now` knows its offset; its own date is the player's day. Raises BadInput for minutes outside 1 to 240.
    """
    from coach.practice.repertoire import drills_of

    wanted = settings.minutes if minutes is None else minutes
    drills = drills_of(library())
    return plan_of(drills, takes(), settings, now, wanted, steadies(drills, now.date()))
