"""What a command brings in, asked of a fresh process: only what it needs, so that it answers at once."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

DRAWING = {"textual", "rich"}
SOUNDING = {"numpy", "miniaudio", "mido", "rtmidi"}
KEEPING = {"sqlite3", "fsrs", "platformdirs"}
PRINTING = {"reportlab", "PIL", "music21", "musicxml", "soundfile"}

_PROBE = """
import sys
from coach.cli import main
code = main({words!r})
print(code, *sorted({{name.split(".")[0] for name in sys.modules}}), file=sys.stderr)
"""


def brought_in(*words: str) -> set[str]:
    """Top-level modules in memory after `coach WORDS` in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", _PROBE.format(words=words)], capture_output=True, text=True, stdin=subprocess.DEVNULL
    )
    code, *modules = done.stderr.splitlines()[-1].split()
    assert code == "0", done.stderr
    return set(modules)


def test_help_reads_next_to_nothing() -> None:
    """`coach --help` needs no screen, no sound, no ledger, not even the parser of options."""
    assert not brought_in("--help") & (DRAWING | SOUNDING | KEEPING | PRINTING | {"argparse", "tomllib"})


@pytest.mark.parametrize("words", [("patterns",), ("show", "outside-in"), ("layers", "outside-in")])
def test_the_picking_commands_open_no_ledger_and_no_sound(words: tuple[str, ...]) -> None:
    """A pattern is text in, text out."""
    assert not brought_in(*words) & (DRAWING | SOUNDING | {"sqlite3", "fsrs"})


def test_a_ramp_is_sums_only() -> None:
    """Times come without arrays."""
    assert not brought_in("ramp", "--from", "60", "--to", "90") & (DRAWING | SOUNDING | KEEPING)


@pytest.mark.parametrize("words", [("today",), (), ("drills",), ("log",)])
def test_planning_draws_nothing_and_sounds_nothing(words: tuple[str, ...]) -> None:
    """`coach today`, and `coach` in a pipe, import none of the screen's or the sound's libraries."""
    assert not brought_in(*words) & (DRAWING | SOUNDING | PRINTING)


@pytest.mark.parametrize(
    "words",
    [("song",), ("song", "check", "last-boat"), ("show", "last-boat", "--sing"), ("keysheet", "--key", "G")],
)
def test_songs_are_text_in_text_out(words: tuple[str, ...]) -> None:
    """To list, check and print songs and chords takes no library of screen, sound, paper or scores."""
    assert not brought_in(*words) & (DRAWING | SOUNDING | PRINTING | {"fsrs"})


@pytest.mark.parametrize(
    ("ending", "needs"), [("txt", set()), ("musicxml", set()), ("mid", {"mido"}), ("pdf", {"reportlab", "PIL"})]
)
def test_a_sheet_brings_in_what_its_kind_needs(ending: str, needs: set[str], tmp_path: Path) -> None:
    """Text and MusicXML are written with nothing but Python; no sheet needs arrays or the screen's libraries."""
    found = brought_in("sheet", "last-boat", "-o", str(tmp_path / f"a.{ending}"))
    assert not found & (DRAWING | SOUNDING | PRINTING | {"fsrs", "sqlite3"}) - needs


@pytest.mark.parametrize("room", ["music", "guitar", "picking", "log", "drills", "skill", "plan", "settings", "shelf"])
def test_the_core_stands_without_screen_sound_and_arrays(room: str) -> None:
    """Every module of the pure rooms imports with those libraries forbidden."""
    code = f"""
import importlib, pkgutil, sys
for name in {sorted(DRAWING | SOUNDING)!r}:
    sys.modules[name] = None
room = importlib.import_module("coach.{room}")
for found in pkgutil.walk_packages(getattr(room, "__path__", []), room.__name__ + "."):
    importlib.import_module(found.name)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
