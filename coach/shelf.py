"""The player's shelf: what lies in the shipped and own folders, as values. Reads files and changes none."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from coach import places
from coach.errors import CoachError
from coach.files.reading import files_in
from coach.guitar.grip import Hand
from coach.guitar.open_shapes import ShapeBook, read_shape_book
from coach.log.ledger_status import begun, glance, is_empty
from coach.picking.pattern_library import Library, read_library
from coach.settings import Settings

if TYPE_CHECKING:  # practice brings the ledger and SQLite with it: only for those who ask
    from coach.drills.pattern_drills import Drill
    from coach.drills.song_choices import Settled
    from coach.log.playing_time import Playing
    from coach.log.takes import Take
    from coach.plan.day_notes import Pressing
    from coach.plan.planner import Plan
    from coach.plan.planner import PlanSettings as PlanSettings
    from coach.plan.wishes import Wishes
    from coach.skill.steady_tempo import SteadyTempo
    from coach.song.chart import Song
    from coach.song.files.song_shelf import SongShelf
    from coach.song.piece import Piece

SONG_SUFFIX = ".song.toml"


def library() -> Library:
    """Shipped and own patterns, and the files that could not be read."""
    return read_library(places.shipped("patterns"), places.patterns())


def songs() -> SongShelf:
    """Shipped and own songs, and the files that could not be read."""
    from coach.song.files.song_shelf import read_songs

    return read_songs(places.shipped("shared") / "songs", places.songs())


def beats_here(library: Library) -> Callable[[str], int | None]:
    """What tells the beats in a bar of a drill by its id, None where it is not known. Of the songs only the files of
    those it is asked for are read, each once."""

    from coach.drills.drill_id import DrillId

    @cache
    def of_song(name: str) -> int | None:
        from coach.song.files.song_file import read_song

        file, own = song_files().get(name, (None, False))
        if file is None:
            return None
        try:
            return read_song(file, own=own).meter.beats
        except CoachError:  # the songs' own list tells what is wrong with it
            return None

    def beats(drill: str) -> int | None:
        asked = DrillId.parse(drill)
        name = asked.song or asked.name
        return library.patterns[name].meter.beats if name in library.patterns else of_song(name)

    return beats


@cache
def shapes() -> ShapeBook:
    """The shipped left-hand shapes; read once."""
    return read_shape_book(places.shipped("shared") / "shapes.toml")


def settled(path: Path | None = None) -> dict[str, Settled]:
    """What the player settled about songs, by id, from the ledger's notes (the player's own when None).

    Raises CoachError.
    """
    from coach.drills import song_choices

    path = path or places.ledger()
    if not begun(path):
        return {}
    from coach.log.ledger import Ledger
    from coach.log.notes import NoteKind

    with Ledger(path) as ledger:
        return song_choices.settled(ledger.notes(NoteKind.SONG_SETTLED))


def drills_here(library: Library, path: Path | None = None, songs: Iterable[Song] | None = None) -> tuple[Drill, ...]:
    """All that is practised: the patterns, and the songs taken up, in the order in which they are begun.

    `path` is of the ledger (the player's own when None). `songs` are those there are where they have been read; else
    their files are looked through, and only those are read that are practised and have changed. Raises CoachError.
    """
    from coach.drills import repertoire

    path = path or places.ledger()
    what, played = _of_songs(path)
    patterns = repertoire.make_pattern_drills(library)
    of_songs: dict[str, tuple[Drill, ...]] = {}
    for song, made in _song_drills(library, path, what, played, songs):
        if made:
            of_songs[song] = repertoire.settle_drills(made, what.get(song))
    return repertoire.merge_songs(patterns, of_songs)


def _of_songs(path: Path) -> tuple[dict[str, Settled], tuple[str, ...]]:
    """What was settled about songs, and the ids of the drills of songs that were played."""
    if not begun(path):
        return {}, ()
    from coach.drills import song_choices
    from coach.drills.drill_id import DrillId
    from coach.log.ledger import Ledger
    from coach.log.notes import NoteKind
    from coach.skill.estimates import Estimates

    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        of_songs = tuple(drill for drill in estimates.played() if DrillId.parse(drill).song)
        return song_choices.settled(ledger.notes(NoteKind.SONG_SETTLED)), of_songs


def _song_drills(
    library: Library, path: Path, what: Mapping[str, Settled], played: Iterable[str], songs: Iterable[Song] | None
) -> Iterator[tuple[str, tuple[Drill, ...]]]:
    """(id, drills) of each song that is practised."""
    from coach.drills.repertoire import is_taken_up

    def make(song: Song) -> tuple[Drill, ...]:
        from coach.drills.song_drills import make_song_drills

        return make_song_drills(song, library.patterns, shapes())

    if songs is not None:
        for song in songs:
            if is_taken_up(song.id, song.own, what.get(song.id), played):
                yield song.id, make(song)
        return
    from coach.drills import song_drill_cache

    def read(file: Path, own: bool) -> tuple[Drill, ...]:
        from coach.song.files.song_file import read_song

        try:
            return make(read_song(file, own=own))
        except CoachError:  # the songs' own list tells what is wrong with it
            return ()

    stamp = song_drill_cache.make_stamp(places.shipped("patterns"), places.patterns())
    kept = song_drill_cache.SongDrillCache(song_drill_cache.cache_path(path), stamp)
    for song_id, (file, own) in song_files().items():
        if is_taken_up(song_id, own, what.get(song_id), played):
            yield song_id, kept.of(file, partial(read, file, own))
    kept.save()


def song_files() -> dict[str, tuple[Path, bool]]:
    """The file of each song by id, and whether it is the player's own; read are none of them."""
    files: dict[str, tuple[Path, bool]] = {}
    for folder, own in ((places.shipped("shared") / "songs", False), (places.songs(), True)):
        for file in files_in(folder, SONG_SUFFIX)[0]:  # the songs' own list tells what is wrong with a folder
            files[file.name.removesuffix(SONG_SUFFIX)] = (file, own)
    return files


def hand_of(settings: Settings) -> Hand:
    """The fretting hand and the neck that the player set."""
    return Hand(settings.span_mm, settings.thumb_over, settings.barres, settings.scale_mm)


def takes(path: Path | None = None) -> list[Take]:
    """Every take in the ledger (the player's own when None); none, and no file made, where there is none yet.

    Raises CoachError.
    """
    path = path or places.ledger()
    if not begun(path):
        return []
    from coach.log.ledger import Ledger

    with Ledger(path) as ledger:
        return ledger.takes()


def log_troubles(path: Path | None = None) -> tuple[str, ...]:
    """What is to be said of entries of the ledger (the player's own when None) that cannot be read; mostly nothing.

    Raises CoachError.
    """
    path = path or places.ledger()
    if not begun(path):
        return ()
    from coach.log.ledger import Ledger
    from coach.skill.estimates import Estimates

    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        return estimates.troubles()


def ledger_trouble(path: Path | None = None, *, writes: bool = False) -> str:
    """What is to be known of the ledger file as a whole (the player's own when None): that it is empty, or that it can
    only be read and why, in one sentence; else "". To be asked before it is opened otherwise.

    `writes`: whoever asks is about to write, and will be told by that what can only be read.
    """
    path = path or places.ledger()
    try:
        if not begun(path) or is_empty(path):
            return "" if writes and not begun(path) else glance(path)
        if writes:
            return ""
        from coach.log.ledger import Ledger

        with Ledger(path) as ledger:
            return str(ledger.unwritable or "")
    except CoachError:  # so will whoever opens it
        return ""


def heard(today: date, path: Path | None = None) -> set[str]:
    """The drills that were played or, on `today`, listened to, by the ledger (the player's own when None); none, and no
    file made, where there is none yet. Raises CoachError.
    """
    path = path or places.ledger()
    if not begun(path):
        return set()
    from coach.log.ledger import Ledger
    from coach.log.notes import NoteKind
    from coach.plan.listening import heard_today
    from coach.skill.estimates import Estimates

    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        return {*estimates.played(), *heard_today(ledger.notes(NoteKind.LISTENED), today)}


def playing(library: Library, now: datetime, path: Path | None = None, lately: timedelta | None = None) -> Playing:
    """What was played by `now`, by the ledger (the player's own when None), with the stretches of takes begun `lately`
    (nine days when None); nothing, and no file made, where there is none yet. Raises CoachError.
    """
    from coach.log.playing_time import LATELY, Playing, read_playing

    path = path or places.ledger()
    if not begun(path):
        return Playing(now)
    from coach.log.ledger import Ledger

    with Ledger(path) as ledger:
        return read_playing(ledger, now, beats_here(library), lately or LATELY)


def steadies(drills: Sequence[Drill], today: date, path: Path | None = None) -> dict[str, SteadyTempo] | None:
    """The steady tempos known on `today`, from the estimates kept beside the ledger (the player's own when None).

    None where there is no ledger yet. Raises CoachError.
    """
    path = path or places.ledger()
    if not begun(path):
        return None
    from coach.log.ledger import Ledger
    from coach.skill.estimates import Estimates

    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        return estimates.steadies(drills, today)


def plan_of(drills: Sequence[Drill], takes: Iterable[Take], settings: Settings, now: datetime, minutes: int) -> Plan:
    """The plan these drills and takes give by themselves, with the player's settings.

    Raises BadInput for minutes outside 1 to 240.
    """
    from coach.plan import planner

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
    from coach.plan import planner
    from coach.plan.day_notes import DayNotes, plan_under, read_day

    path = path or places.ledger()
    if not begun(path):
        return plan_of(drills, (), settings, now, minutes), DayNotes().wishes
    from coach.log.ledger import Ledger
    from coach.log.playing_time import read_playing
    from coach.skill.estimates import Estimates
    from coach.skill.history import returns_of
    from coach.skill.retention import keeping

    use = _plan_settings(settings)
    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        pasts, playing = estimates.pasts(), read_playing(ledger, now, beats_here(library))
        day = read_day(ledger, drills, library, now.date(), pieces(library, settings))
        if any(drill.song for drill in drills):
            from coach.plan.song_steps import find_next_steps

            day = replace(day, pressing={**find_next_steps(drills, pasts, now.date()), **day.pressing})
            drills = [*drills, *day.corners]
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
                playing=playing,
                steady_of=steady_of,
                wishes=wishes,
                heard=day.heard,
            )

        made = plan_under(day, minutes, drills, make, library, playing)
        keeping_words = keeping(returns_of(pasts.values())).words
        notes = (*made.notes, *([keeping_words] if keeping_words and made.blocks else ()), *estimates.troubles())
        return replace(made, notes=notes), day.wishes


def pieces(library: Library, settings: Settings) -> Callable[[str, str], Piece | None]:
    """What gives a song of the shelf (its id) in an arrangement, read once; None where it cannot be had."""
    return cache(partial(_piece, library, settings))


def _piece(library: Library, settings: Settings, song: str, arrangement: str) -> Piece | None:
    from coach.song.files.song_file import read_song
    from coach.song.perform import arrangement_of, perform

    file, own = song_files().get(song, (None, False))
    if file is None:
        return None
    try:
        read = read_song(file, own=own)
        return perform(read, arrangement_of(read, arrangement), library.patterns, shapes(), hand=hand_of(settings))
    except CoachError:  # the songs' own list tells what is wrong with it
        return None


def _plan_settings(settings: Settings) -> PlanSettings:
    from coach.plan import planner

    return planner.PlanSettings(new_a_day=settings.new_a_day, turn_minutes=settings.turn_minutes)


def plan_today(settings: Settings, now: datetime, minutes: int | None = None) -> Plan:
    """Today's practice from the library and the ledger as they are now; `minutes` stand before the setting.

    `now` knows its offset; its own date is the player's day. Raises BadInput for minutes outside 1 to 240.
    """
    patterns = library()
    wanted = settings.minutes if minutes is None else minutes
    return plan_here(drills_here(patterns), patterns, settings, now, wanted)[0]
