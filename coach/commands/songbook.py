"""`coach song due`: the day a song must be ready by, its rest, and taking it up."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from datetime import datetime

from coach import places, shelf
from coach.commands.answers import answer
from coach.commands.arguments import Command, add_json

NONE = "none"


def _due_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("song", metavar="SONG", help="a song's id")
    parser.add_argument(
        "what",
        metavar="DATE|none|rest|wake",
        help="a day like 2026-12-05, 12-05 or +14 (in 14 days); none takes it back; rest puts the song aside; wake "
        "brings it back, or takes up a song that is not practised yet",
    )
    add_json(parser)


def _due(args: Namespace) -> None:
    from coach.drills import song_choices
    from coach.log.ledger import Ledger
    from coach.log.notes import NoteKind

    song = shelf.songs().find(args.song)
    now = datetime.now().astimezone()
    said = args.what.strip().lower()
    if said in (song_choices.REST, song_choices.WAKE):
        text = song_choices.note_text(said, song.id)
    else:
        day = None if said == NONE else song_choices.read_day(args.what, now.date())
        text = song_choices.note_text(song_choices.DUE, song.id, day)
    with Ledger(places.ledger()) as ledger:
        ledger.add_note(NoteKind.SONG_SETTLED, text, None, now)
        holds = song_choices.settled(ledger.notes(NoteKind.SONG_SETTLED))[song.id]
    data = {
        "song": song.id,
        "due": holds.due.isoformat() if holds.due else None,
        "resting": holds.resting,
        "taken": holds.taken,
    }
    when = f"wanted by {holds.due.isoformat()}" if holds.due else "wanted by no day"
    state = "rests" if holds.resting else "is practised" if holds.taken or song.own else "is not taken up"
    answer(args.json, data, [f"{song.title} {state}, {when}."])


COMMANDS = {
    "song due": Command(
        "Says by which day a song must be ready (a lesson, an evening), puts it to rest or brings it back; today's "
        "practice follows it.",
        "coach song due last-boat 2026-12-05\ncoach song due last-boat rest",
        _due_arguments,
        _due,
    ),
}
