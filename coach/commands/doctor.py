"""`coach doctor`: what sound, MIDI and files the coach sees on this machine. Looks only, and never fails."""

from __future__ import annotations

import platform
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from typing import Any

from coach import __version__, places, shelf
from coach.commands.answers import answer, width, wrapped
from coach.commands.arguments import Command, add_json
from coach.practice.cautions import CAUTIONS
from coach.settings import read_settings


def _arguments(parser: ArgumentParser) -> None:
    add_json(parser)


def _doctor(args: Namespace) -> None:
    data = {
        "version": __version__,
        "python": platform.python_version(),
        "audio": _audio(),
        "midi": _midi(),
        "paths": _paths(),
        "problems": _problems(),
        "cautions": list(CAUTIONS),
    }
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
    try:
        shelf.takes()
    except Exception as error:
        found.append(str(error))
    return found


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
    yield ""
    yield "For your hands and ears"
    for caution in data["cautions"]:
        yield from wrapped(caution, "  ", width())


COMMANDS = {
    "doctor": Command(
        "Tells what sound devices, MIDI ports and files the coach sees here, and what in your files it cannot read.",
        "coach doctor --json",
        _arguments,
        _doctor,
    ),
}
