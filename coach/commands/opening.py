"""`coach` and `coach drill`: what opens the full screen, and what is said instead where there is no terminal."""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser, Namespace
from dataclasses import replace
from datetime import datetime
from fractions import Fraction

from coach import shelf
from coach.commands.arguments import Command, tempo
from coach.errors import CoachError
from coach.picking.pattern import Pattern


def has_terminal() -> bool:
    """True where a person sits at a screen that can be drawn on; the drawing itself goes to stderr."""
    streams = (sys.stdin, sys.stdout, sys.stderr)
    return all(stream.isatty() for stream in streams) and os.environ.get("TERM") != "dumb"


def open_coach() -> None:
    """What plain `coach` does: the screen, or today's plan as text where there is none."""
    if has_terminal():
        open_today()
        return
    from coach.commands.practice import plan_lines, settings

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
    from coach.screens.app import free_block, run_app
    from coach.screens.world import World

    world = World.here()
    if world.library.patterns.get(pattern.id) != pattern:  # it came from a file outside the library
        world.library = replace(world.library, patterns={**world.library.patterns, pattern.id: pattern})
    block = free_block(world, pattern.id, None if bpm is None else round(bpm), sing)
    sys.exit(run_app(block, chords=chords, world=world))


def _drill_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("pattern", metavar="PATTERN", help="a pattern's id, or the path of a pattern file")
    parser.add_argument("--chords", metavar="C", help='bars parted by |, like "C | F G | C" (usual: its own)')
    parser.add_argument("--tempo", metavar="B", help="tempo in bpm to begin with (usual: what the log says)")
    parser.add_argument("--sing", action="store_true", help="begin with the thumb alone, to sing over")


def _drill(args: Namespace) -> None:
    from coach.commands.picking import held_bars

    pattern = shelf.library().find(args.pattern)
    if args.chords is not None:
        held_bars(args.chords, pattern.meter)
    bpm = None if args.tempo is None else tempo(args.tempo, "--tempo")
    if not has_terminal():
        raise CoachError("the stage needs a terminal", mend=f"`coach show {args.pattern}` prints the pattern")
    open_stage(pattern, args.chords, bpm, sing=args.sing)


COMMANDS = {
    "drill": Command(
        "Opens the stage on one pattern at once.",
        'coach drill outside-in --chords "C | Am | F | G" --tempo 72\ncoach drill outside-in --sing',
        _drill_arguments,
        _drill,
    ),
}
