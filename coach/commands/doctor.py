"""`coach doctor`: what sound, MIDI and files the coach sees on this machine. It never fails for what it finds.

It only looks, but for `--put-aside`, which writes the entries of the log that cannot be read into a file and notes it.
"""

from __future__ import annotations

import json
import platform
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coach import __version__, places, shelf
from coach.commands.answers import answer, width, wrapped
from coach.commands.arguments import Command, add_force, add_json
from coach.errors import BadInput
from coach.files.writing import new_file
from coach.plan.cautions import CAUTIONS
from coach.settings import read_settings

if TYPE_CHECKING:
    from coach.log.readable_rows import Unread


MOST_LISTED = 20


def _arguments(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--put-aside",
        metavar="F.json",
        help="write the entries of the log that cannot be read into this file, and speak of them no more",
    )
    add_force(parser)
    add_json(parser)


def _doctor(args: Namespace) -> None:
    aside = None if args.put_aside is None else _put_aside(args.put_aside, args.force)
    unread, log_problems = _log()
    data = {
        "version": __version__,
        "python": platform.python_version(),
        "audio": _audio(),
        "midi": _midi(),
        "paths": _paths(),
        "problems": _problems() + log_problems,
        "unread": [one.as_json() for one in unread],
        "cautions": list(CAUTIONS),
    }
    if aside is not None:
        data["put_aside"] = aside
    answer(args.json, data, _lines(data))


def _audio() -> dict[str, Any]:
    try:
        from coach.sound.device import describe_devices

        return dict(describe_devices())
    except Exception as error:  # a broken sound library is a finding here, not a failure
        return {"backend": None, "devices": [], "problem": f"The sound library cannot be used ({error})."}


def _midi() -> dict[str, Any]:
    try:
        from coach.sound.midi_out import list_ports

        return dict(list_ports())
    except Exception as error:
        return {"inputs": [], "outputs": [], "problem": f"The MIDI library cannot be used ({error})."}


def _paths() -> dict[str, str]:
    return {
        "home": str(places.home()),
        "patterns": str(places.patterns()),
        "songs": str(places.songs()),
        "ledger": str(places.ledger()),
        "settings": str(places.settings()),
        "log": str(places.log()),
        "shipped_patterns": str(places.shipped("patterns")),
        "shipped_shared": str(places.shipped("shared")),
    }


def _problems() -> list[str]:
    """What in the player's own files cannot be used, one sentence each."""
    found = [broken.why for broken in shelf.library().broken]
    found += [broken.why for broken in shelf.songs().broken]
    found += read_settings(places.settings()).problems
    found += filter(None, [shelf.ledger_trouble()])
    return found


def _log() -> tuple[list[Unread], list[str]]:
    """The log's entries that cannot be read and were not put aside, and what is to be said of the log."""
    if not places.ledger().exists():
        return [], []
    try:
        from coach.log.ledger import Ledger
        from coach.log.readable_rows import describe_unread, left_out, read_put_aside, unread_rows

        with Ledger(places.ledger()) as ledger:
            ledger.takes()
            unread = left_out(unread_rows(ledger.rows), read_put_aside(ledger.rows))
            found = [describe_unread(len(unread), "")] if unread else []
            return unread, [*found, *filter(None, [ledger.damage()])]
    except Exception as error:
        return [], [str(error)]


def _put_aside(name: str, force: bool) -> dict[str, Any]:
    """Write what cannot be read into a file, then note in the log that it is there; nothing is taken out of the log."""
    from coach.log.ledger import Ledger
    from coach.log.notes import NoteKind
    from coach.log.readable_rows import left_out, read_put_aside, unread_rows, write_aside_notes

    if Path(name).suffix.lower() != ".json":
        raise BadInput("what cannot be read goes into a JSON file", where=name, mend="give a name that ends in .json")
    if not places.ledger().exists():
        raise BadInput("nothing was logged yet", mend="there is nothing to put aside")
    with Ledger(places.ledger()) as ledger:
        unread = left_out(unread_rows(ledger.rows), read_put_aside(ledger.rows))
        if not unread:
            raise BadInput("every entry of the log can be read", mend="there is nothing to put aside")
        told = {"steady_thumb_put_aside": 1, "entries": [one.as_json() for one in unread]}
        with new_file(Path(name), "the entries", force=force) as file:
            file.write((json.dumps(told, ensure_ascii=False, indent=1) + "\n").encode("utf-8"))
        for text in write_aside_notes(one.mark for one in unread):
            ledger.add_note(NoteKind.PUT_ASIDE, text)
    return {"file": name, "entries": len(unread)}


def _lines(data: dict[str, Any]) -> Iterator[str]:
    audio, midi = data["audio"], data["midi"]
    yield f"Steady Thumb {data['version']}, Python {data['python']}"
    yield ""
    yield f"Sound: {audio['backend'] or 'none, so the stage runs silently'}"
    yield from (f"  {name}" for name in audio["devices"])
    if audio.get("problem"):
        yield from wrapped(audio["problem"], "  ", width())
    for side in ("outputs", "inputs"):
        yield f"MIDI {side}: {'none' if not midi[side] else ''}".rstrip()
        yield from (f"  {name}" for name in midi[side])
    if midi.get("problem"):
        yield from wrapped(midi["problem"], "  ", width())
    yield ""
    yield "Files"
    wide = max(len(name) for name in data["paths"])
    yield from (f"  {name.replace('_', ' ').ljust(wide)}  {path}" for name, path in data["paths"].items())
    yield ""
    yield "Problems: none" if not data["problems"] else "Problems"
    for problem in data["problems"]:
        yield from wrapped(problem, "  ", width())
    for one in data["unread"][:MOST_LISTED]:
        columns = ", ".join(one["cannot_be_read"]) or "its take is not there"
        yield from wrapped(f"{one['table']}, row {one['row']}: {columns}", "    ", width())
    if len(data["unread"]) > MOST_LISTED:
        yield f"    and {len(data['unread']) - MOST_LISTED} more (--json lists all)"
    if data["unread"]:
        yield from wrapped("`coach doctor --put-aside FILE.json` keeps them in a file.", "  ", width())
    if data.get("put_aside"):
        count = data["put_aside"]["entries"]
        what = "1 entry" if count == 1 else f"{count} entries"
        yield f"  {data['put_aside']['file']}: {what} put aside; the log still has them."
    yield ""
    yield "For your hands and ears"
    for caution in data["cautions"]:
        yield from wrapped(caution, "  ", width())


COMMANDS = {
    "doctor": Command(
        "Tells what sound devices, MIDI ports and files the coach sees here, and what in your files it cannot read. "
        "Entries of the log that cannot be read can be put aside into a file; the log keeps them all the same.",
        "coach doctor --json\ncoach doctor --put-aside unread.json",
        _arguments,
        _doctor,
    ),
}
