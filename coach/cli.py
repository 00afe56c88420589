"""The command `coach`: finds the one asked for, runs it, and turns every trouble into one sentence and an exit code.

Exit codes: 0 done, 1 the thing asked could not be done, 2 bad input, 130 interrupted. Only what a command needs is
imported, when it is run: `coach --help` reads this one file.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from coach import __version__

if TYPE_CHECKING:
    from coach.commands.arguments import Command

# command -> (its module in coach/commands, what it does)
COMMANDS = {
    "drill": ("opening", "opens the stage on one pattern at once"),
    "patterns": ("picking", "lists the picking patterns, shipped and your own"),
    "show": ("song", "prints a pattern over chords, or a song, as tab"),
    "layers": ("picking", "how a pattern grows from the thumb alone to all of it"),
    "song": ("song", "lists the songs, shipped and your own"),
    "song new": ("song", "begins a song file"),
    "song check": ("song", "tells everything that is wrong with a song file"),
    "song show": ("song", "prints a song: its chart, or an arrangement of it as tab"),
    "song arrange": ("song_making", "proposes arrangements of a song: key, capo, shapes, patterns, and why"),
    "song import": ("song_making", "brings in a lead sheet from a MusicXML file"),
    "song due": ("songbook", "the day a song must be ready by, or its rest"),
    "ramp": ("tempo", "prints a tempo plan bar by bar"),
    "click": ("tempo", "writes the click as a WAV file"),
    "sheet": ("paper", "writes a song or pattern as text tab, PDF, MusicXML or MIDI"),
    "track": ("paper", "writes a track to play along with"),
    "pack": ("packs", "puts sheets, tracks and files for a student into one zip"),
    "unpack": ("packs", "takes such a zip into your own library"),
    "numerals": ("theory", "what each chord is in a key"),
    "rekey": ("theory", "moves a progression to another key"),
    "keysheet": ("theory", "the chords of every key, and what it borrows"),
    "shapes": ("route", "the easiest shapes for a progression, and what stays down"),
    "keys": ("keys", "ranks keys and capos for a progression"),
    "neck": ("neck", "every shape of a chord that the hand can hold, easiest first"),
    "name": ("neck", "every chord that a shape can be, likeliest first"),
    "today": ("practice", "today's practice and the reasons for it"),
    "drills": ("practice", "everything being practised, with its steady tempo"),
    "listen": ("listening", "hears a recorded take: what sounded, how even, where it stumbled"),
    "log": ("ledger", "what was played"),
    "log add": ("ledger", "adds a take that was played elsewhere"),
    "log export": ("ledger", "writes the log as CSV or JSON"),
    "log merge": ("ledger", "takes in the log of another machine"),
    "log blank": ("ledger", "prints a practice record to fill in by hand"),
    "doctor": ("doctor", "what sound, MIDI and files the coach sees here"),
}

# These work in the player's folder, and begin by clearing away what a killed coach left there half-written.
_AT_HOME = ("drill", "today", "drills", "log", "log add", "log merge", "song", "song new", "song arrange", "unpack")

OK, CANNOT, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130


def overview() -> str:
    """What `coach --help` prints."""
    wide = max(len(name) for name in COMMANDS)
    rows = "\n".join(f"  {name.ljust(wide)}  {about}" for name, (_, about) in COMMANDS.items())
    return f"""\
Steady Thumb {__version__}: a practice coach for singing over fingerstyle guitar.

  coach                      opens today's practice
  coach COMMAND [options]    one of the commands below; each has --help with an example
  coach --version            prints the version

{rows}

What you own (patterns, settings, the log) lies in your user folder, or in the folder named by COACH_HOME.
Warm up first, rest five minutes in each half hour, keep the sound low, and stop at pain or numbness.
example:
  coach show outside-in --chords "C | F"
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run `coach` with these arguments (those of the process when None) and return its exit code. Never raises."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        _mind_streams()
        _run(words)
        sys.stdout.flush()
        return OK
    except SystemExit as done:  # argparse has printed its help
        return done.code if isinstance(done.code, int) else OK
    except KeyboardInterrupt:
        print(file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever was reading has enough: no failure of ours. Nothing more may be written, also not at exit.
        sys.stdout = open("/dev/null" if sys.platform != "win32" else "nul", "w", encoding="utf-8")  # noqa: SIM115
        return OK
    except Exception as error:
        return _told(error, words)


def _mind_streams() -> None:
    """A stream that was closed leads nowhere, so that no file that is opened later takes its place; a terminal that
    cannot show a sign gets a stand-in for it, not a crash. Raises CoachError where the answer would lead nowhere.
    """
    closed = [name for name in ("stdin", "stdout", "stderr") if getattr(sys, name) is None]
    if closed:
        import os

        while (handle := os.open(os.devnull, os.O_RDWR)) <= 2:  # takes the lowest number that is free
            pass
        os.close(handle)
        for number, name in enumerate(("stdin", "stdout", "stderr")):
            if name in closed:
                way = "w" if number else "r"
                setattr(sys, name, open(number, way, encoding="utf-8", errors="replace", closefd=False))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        letters, errors = (getattr(stream, "encoding", None) or "utf-8").lower().replace("-", ""), "replace"
        if letters != "utf8":
            from coach.plain_letters import PLAIN as errors
        getattr(stream, "reconfigure", lambda **_: None)(errors=errors)
    if "stdout" in closed:
        from coach.errors import CoachError

        raise CoachError(
            "standard output is closed, so there is nowhere to answer", mend="leave it open, or lead it to /dev/null"
        )


def _run(words: list[str]) -> None:
    if not words:
        from coach.commands.opening import open_coach

        open_coach()
    elif words[0] in ("-h", "--help"):
        print(overview(), end="")
    elif words[0] == "--version":
        print(f"coach {__version__}")
    else:
        name = _command(words)
        command = load(name)
        if name in _AT_HOME:
            from coach import places
            from coach.files.writing import clear_away

            clear_away(places.home(), places.patterns(), places.songs())
        command.deed(command.parser(name).parse_args(words[len(name.split()) :]))


def _command(words: list[str]) -> str:
    """The name of the command that is meant. Raises BadInput that names the nearest one."""
    from coach.errors import BadInput

    two = " ".join(words[:2])
    if two in COMMANDS:
        return two
    inner = [name.split()[1] for name in COMMANDS if name.startswith(f"{words[0]} ")]
    if words[0] in COMMANDS and not (inner and len(words) > 1 and not words[1].startswith("-")):
        return words[0]
    asked, known = (words[1], inner) if inner else (words[0], [n for n in COMMANDS if " " not in n])
    import difflib

    near = difflib.get_close_matches(asked, known, n=1)
    before = f"coach {words[0]}" if inner else "coach"
    hint = f"did you mean {before} {near[0]}?" if near else f"`{before} --help` tells what there is"
    kind = "an option" if asked.startswith("-") else "a command"
    raise BadInput(f"'{asked}' is not {kind} of {before}", mend=hint)


def load(name: str) -> Command:
    """The command `name` of the table, with its module imported."""
    from importlib import import_module

    found: Command = import_module(f"coach.commands.{COMMANDS[name][0]}").COMMANDS[name]
    return found


def _told(error: Exception, words: list[str]) -> int:
    """Say on stderr what went wrong; the exit code that goes with it."""
    from coach.errors import CoachError, reason

    if isinstance(error, CoachError):
        print(error, file=sys.stderr)
        return error.exit_code
    if isinstance(error, OSError) and error.strerror:
        why = reason(error)
        what = f"{why[:1].lower()}{why[1:]}"
        print(CoachError(what, where=str(error.filename or ""), mend="nothing more could be done"), file=sys.stderr)
        return CANNOT
    print(_kept(error, words), file=sys.stderr)
    return CANNOT


def _kept(error: Exception, words: list[str]) -> str:
    """Write an unforeseen error's trail into the log file; the sentence that says where it is."""
    import traceback
    from datetime import datetime

    from coach import places
    from coach.files.reading import open_to_add

    try:
        path = places.log()
        trail = "".join(traceback.format_exception(error))
        told = f"{datetime.now().astimezone().isoformat()} coach {__version__} {words!r}\n{trail}"
        with open_to_add(path) as out:
            out.write(told.encode("utf-8", "replace"))
        return f"Something went wrong inside the coach that it did not foresee; the details are in {path}."
    except (OSError, RuntimeError):
        return f"Something went wrong inside the coach that it did not foresee ({type(error).__name__}: {error})."


if __name__ == "__main__":
    sys.exit(main())
