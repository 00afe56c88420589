"""`coach` and `coach drill`: what opens the full screen, and what is said instead where there is no terminal."""

from __future__ import annotations

import difflib
import os
import sys
from argparse import ArgumentParser, Namespace
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from coach import shelf
from coach.commands.arguments import Command, tempo
from coach.errors import BadInput, CoachError
from coach.picking.pattern import Pattern
from coach.picking.pattern_library import Library

if TYPE_CHECKING:
    from coach.song.chart import Song
    from coach.song.files.song_shelf import SongShelf


def has_terminal() -> bool:
    """True where a person sits at a screen that can be drawn on; the drawing itself goes to stderr."""
    streams = (sys.stdin, sys.stdout, sys.stderr)
    return all(stream.isatty() for stream in streams) and os.environ.get("TERM") != "dumb"


def open_coach() -> None:
    """What plain `coach` does: the screen, or today's plan as text where there is none."""
    if has_terminal():
        open_today()
        return
    from coach.commands.answers import note_ledger
    from coach.commands.practice import plan_lines, settings

    note_ledger()
    for line in plan_lines(shelf.plan_today(settings(), datetime.now().astimezone())):
        print(line)
    print()
    print("To play it, run `coach` in a terminal; `coach drill PATTERN` opens the stage on one pattern.")


def open_today() -> None:
    """The full screen on today's practice, until the player leaves."""
    from coach.screens.app import run_app

    sys.exit(run_app())


def open_stage(pattern: Pattern, chords: str | None, bpm: Fraction | None, *, sing: bool) -> None:
    """The full screen on one pattern at once, until the player leaves."""
    from coach.screens.app import run_app
    from coach.session.context import World
    from coach.session.run_setup import free_block

    world = World.here()
    if world.library.patterns.get(pattern.id) != pattern:  # it came from a file outside the library
        world.library = replace(world.library, patterns={**world.library.patterns, pattern.id: pattern})
    block = free_block(world, pattern.id, None if bpm is None else round(bpm), sing)
    sys.exit(run_app(block, chords=chords, world=world))


def open_song(song: Song, drill: str, bpm: Fraction | None) -> None:
    """The full screen on a drill of a song at once, until the player leaves. Raises BadInput first."""
    from coach.screens.app import run_app
    from coach.session.context import World
    from coach.session.run_setup import free_block

    world = World.here()
    if world.songs.songs.get(song.id) != song:  # it came from a file outside the shelf
        world.songs = replace(world.songs, songs={**world.songs.songs, song.id: song})
    block = free_block(world, drill, None if bpm is None else round(bpm), False)
    world.loop(block)  # what is wrong with the arrangement is said here, and not on a screen
    if not has_terminal():
        raise CoachError("the stage needs a terminal", mend=f"`coach song show {song.id}` prints the song")
    sys.exit(run_app(block, world=world))


def _drill_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("pattern", metavar="PATTERN_OR_SONG", help="an id, or the path of a pattern or song file")
    parser.add_argument("--chords", metavar="C", help='a pattern\'s chords, bars parted by | (usual: its own)')
    parser.add_argument("--part", metavar="P", help="one part of a song, round and round (usual: the whole song)")
    parser.add_argument("--arrangement", metavar="A", help="a song's arrangement (usual: its first)")
    parser.add_argument("--tempo", metavar="B", help="tempo in bpm to begin with (usual: what the log says)")
    parser.add_argument("--sing", action="store_true", help="begin with the thumb alone, to sing over")


def _drill(args: Namespace) -> None:
    from coach.commands.picking import held_bars

    bpm = None if args.tempo is None else tempo(args.tempo, "--tempo")
    patterns = shelf.library()
    for_songs = [option for option, given in (("--part", args.part), ("--arrangement", args.arrangement)) if given]
    if args.pattern not in patterns.patterns or for_songs:
        songs = shelf.songs()
        asked = _song_asked(args, songs)
        if asked is not None:
            open_song(*asked, bpm)
            return
        if for_songs:
            what = f"{for_songs[0]} is for songs, and '{args.pattern}' is none"
            raise BadInput(what, mend=_near(args.pattern, songs))
        if not _is_pattern(args.pattern, patterns):
            near = difflib.get_close_matches(args.pattern, [*patterns.patterns, *songs.songs], n=1)
            hint = f"did you mean {near[0]}?" if near else "`coach patterns` and `coach song` list what there is"
            raise BadInput(f"there is no pattern and no song '{args.pattern}'", mend=hint)
    pattern = patterns.find(args.pattern)
    if args.chords is not None:
        held_bars(args.chords, pattern.meter)
    if not has_terminal():
        raise CoachError("the stage needs a terminal", mend=f"`coach show {args.pattern}` prints the pattern")
    open_stage(pattern, args.chords, bpm, sing=args.sing)


def _song_asked(args: Namespace, songs: SongShelf) -> tuple[Song, str] | None:
    """(the song, the id of its drill) where a song is meant, or the drill of one by its whole id. Raises BadInput."""
    from coach.drills.drill_id import DrillId, Kind, Voice
    from coach.song.perform import arrangement_of

    asked = DrillId.parse(args.pattern)
    by_id = not songs.has(args.pattern) and asked.names_song_drill and songs.has(asked.song)
    if by_id and not (args.part or args.arrangement or args.sing):
        return songs.find(asked.song), args.pattern
    if not songs.has(args.pattern):
        return None
    if args.chords is not None:
        raise BadInput(f"--chords is for patterns, and '{args.pattern}' is a song", mend="leave it out")
    song = songs.find(args.pattern)
    kind, voice = Kind.PART if args.part else Kind.SONG, Voice.SING if args.sing else Voice.NONE
    arrangement = arrangement_of(song, args.arrangement or "").name
    return song, str(DrillId(song.id, arrangement, kind, args.part or "", voice=voice))


def _near(name: str, songs: SongShelf) -> str:
    near = difflib.get_close_matches(name, songs.songs, n=1)
    return f"did you mean {near[0]}?" if near else "leave it out, or name a song; `coach song` lists them"


def _is_pattern(name: str, library: Library) -> bool:
    """True for an id, readable or not, and for what can only be a path."""
    broken = any(one.path.stem == name for one in library.broken)
    return name in library.patterns or broken or "/" in name or name.endswith(".toml") or Path(name).is_file()


COMMANDS = {
    "drill": Command(
        "Opens the stage on one pattern or song at once.",
        'coach drill outside-in --chords "C | Am | F | G" --tempo 72\ncoach drill outside-in --sing\n'
        "coach drill last-boat --part Verse --sing",
        _drill_arguments,
        _drill,
    ),
}
