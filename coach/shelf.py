"""The player's shelf: what lies in the shipped and own folders, as values. Reads files and changes none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
    from coach.practice.daynotes import Pressing
    from coach.practice.drills import Drill
    from coach.practice.edits import Wishes
    from coach.practice.planner import Plan
    from coach.practice.planner import Settings as PlanSettings
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


def plan_of(drills: Sequence[Drill], takes: Iterable[Take], settings: Settings, now: datetime, minutes: int) -> Plan:
    """The plan these drills and takes give by themselves, with the player's settings.

    Raises BadInput for minutes outside 1 to 240.
    """
    from coach.practice import planner

    return planner.plan(drills, takes, now, minutes, _plan_settings(settings))


def plan_here(
    drills: Sequence[Drill],
    library: Library,
    settings: Settings,
    now: datetime,
    minutes: int,
    path: Path | None = None,
) -> tuple[Plan, Wishes]:
    """The plan the ledger (the player's own when None) gives, made under what its notes ask of the day, and the
    player's wishes among them. What is kept beside the ledger is read, not every take; the ledger is opened once.

    Raises BadInput for minutes outside 1 to 240, CoachError when the ledger cannot be read.
    """
    from coach.practice import planner
    from coach.practice.daynotes import DayNotes, plan_under, read_day

    path = path or places.ledger()
    if not path.exists():
        return plan_of(drills, (), settings, now, minutes), DayNotes().wishes
    from coach.practice.estimates import Estimates
    from coach.practice.ledger import Ledger

    use = _plan_settings(settings)
    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        day = read_day(ledger, drills, library, now.date())
        pasts, played = estimates.pasts(), estimates.minutes()
        steady_of = estimates.steady_of(drills, now.date())

        def make(wanted: int, wishes: Wishes, pressing: Pressing) -> Plan:
            return planner.plan(
                drills,
                (),
                now,
                wanted,
                use,
                pressing,
                pasts=pasts,
                played=played,
                steady_of=steady_of,
                wishes=wishes,
            )

        return plan_under(day, minutes, drills, make), day.wishes


def _plan_settings(settings: Settings) -> PlanSettings:
    from coach.practice import planner

    return planner.Settings(new_a_day=settings.new_a_day, turn_minutes=settings.turn_minutes)


def plan_today(settings: Settings, now: datetime, minutes: int | None = None) -> Plan:
    """Today's practice from the library and the ledger as they are now; `minutes` stand before the setting.

    `now` knows its offset; its own date is the player's day. Raises BadInput for minutes outside 1 to 240.
    """
    from coach.practice.repertoire import drills_of

    found = library()
    wanted = settings.minutes if minutes is None else minutes
    return plan_here(drills_of(found), found, settings, now, wanted)[0]
