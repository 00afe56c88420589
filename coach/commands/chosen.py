"""What SONG_OR_PATTERN and its options mean: the piece to be printed or sounded, and where it came from."""

from __future__ import annotations

import difflib
from argparse import ArgumentParser, Namespace
from fractions import Fraction
from pathlib import Path

from coach import shelf
from coach.commands.arguments import whole
from coach.commands.picking import bars_for, check_length, held_bars
from coach.commands.practice import settings
from coach.errors import BadInput
from coach.handout import Chosen
from coach.picking.layers import FULL, LAYERS, THUMB, check_layer
from coach.picking.pattern import Pattern
from coach.song.perform import arrangement_of, perform
from coach.song.piece import pattern_piece


def add_chosen(parser: ArgumentParser) -> None:
    """The arguments that choose a piece."""
    parser.add_argument("name", metavar="SONG_OR_PATTERN", help="an id, or the path of a song or pattern file")
    parser.add_argument("--chords", metavar="C", help='a pattern\'s chords, bars parted by | (usual: its own, or C)')
    parser.add_argument("--shapes", metavar="PINS", default="", help='shapes for them, like "C=x32010,F=xx3211"')
    parser.add_argument("--arrangement", metavar="A", help="a song's arrangement (usual: its first)")
    parser.add_argument("--layer", metavar="L", help=f"how much sounds: {', '.join(LAYERS)} (usual: full)")
    parser.add_argument(
        "--sing", action="store_true", help="leave room for the voice: the singing layer, or --layer, under the words"
    )


def chosen(args: Namespace, *, loops: int = 1) -> Chosen:
    """The piece that the options of `add_chosen` describe; a pattern is played `loops` times round.

    A pattern is at its drill's target tempo. Raises BadInput that names the nearest song or pattern.
    """
    layer = None if args.layer is None else check_layer(args.layer)
    if is_song(args):
        for option, given in (("--chords", args.chords), ("--shapes", args.shapes)):
            if given:
                raise BadInput(f"{option} is for patterns, and '{args.name}' is a song", mend="leave it out")
        return _song(args.name, args.arrangement, layer, sing=args.sing)
    if args.arrangement is not None:
        raise BadInput(f"--arrangement is for songs, and '{args.name}' is a pattern", mend="leave it out")
    pattern = shelf.library().find(args.name)
    held = held_bars(bars_for(args.chords or None, pattern), pattern.meter, args.shapes)
    check_length(len(held), loops)
    layer = layer or (THUMB if args.sing else FULL)
    piece = pattern_piece(pattern, held, target_of(pattern), loops=loops, layer=layer)
    return Chosen(piece, pattern=pattern)


def loops_of(args: Namespace) -> int:
    """How often --loops asks for it."""
    return whole(args.loops, "--loops", 1, 999)


def ladder_of(pattern: Pattern) -> tuple[Pattern, ...]:
    """The ladder as it passes through a pattern: from its first rung up to it, and what grows directly from it."""
    patterns = shelf.library().patterns
    below, seen = [pattern], {pattern.id}
    while below[0].grows_from in patterns and below[0].grows_from not in seen:
        below.insert(0, patterns[below[0].grows_from])
        seen.add(below[0].id)
    above = [one for one in patterns.values() if one.grows_from == pattern.id and one.id not in seen]
    return (*below, *above)


def is_song(args: Namespace) -> bool:
    """Whether `args.name` (with `args.chords`) means a song.

    Raises BadInput when there is neither a song nor a pattern of that name.
    """
    songs, patterns = shelf.songs(), shelf.library()
    name = args.name
    if args.chords is None and songs.has(name):
        return True
    if name in patterns.patterns or "/" in name or name.endswith(".toml") or Path(name).is_file():
        return False
    if songs.has(name) or any(broken.path.stem == name for broken in patterns.broken):
        return songs.has(name)
    near = difflib.get_close_matches(name, [*songs.songs, *patterns.patterns], n=1)
    hint = f"did you mean {near[0]}?" if near else "`coach patterns` and `coach song` list what there is"
    raise BadInput(f"there is no song and no pattern '{name}'", mend=hint)


def _song(name: str, arrangement_name: str | None, layer: str | None, *, sing: bool) -> Chosen:
    song = shelf.songs().find(name)
    arrangement = arrangement_of(song, arrangement_name or "")
    piece = perform(
        song,
        arrangement,
        shelf.library().patterns,
        shelf.shapes(),
        hand=shelf.hand_of(settings()),
        sing=(layer or arrangement.singing) if sing else None,
    )
    if layer is not None and not sing:
        piece = piece.layered([layer] * len(piece.bars))
    if not piece.bars:
        raise BadInput(f"'{song.id}' has no bars to play", mend="put its parts into `order`")
    return Chosen(piece, song=song, arrangement=arrangement)


def target_of(pattern: Pattern) -> Fraction:
    """The tempo that practice aims at with this pattern, in bpm."""
    from coach.drills.pattern_drills import make_drills
    from coach.drills.repertoire import make_pattern_drills, material

    library = shelf.library()
    there = library.patterns.get(pattern.id) == pattern
    drills = make_pattern_drills(library) if there else make_drills([material(pattern)])
    return Fraction(next(drill.target_bpm for drill in drills if drill.pattern == pattern.id))
