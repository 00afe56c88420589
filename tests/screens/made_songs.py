"""A song made by hand for the tests of the stage: a pick-up, words with breaths, bars without, a part in three at
another tempo, a tune that crosses a bar line; and a long one.
"""

from __future__ import annotations

from coach import places
from coach.picking.pattern_library import read_library
from coach.session.conductor import Loop, song_loop
from coach.song.chart import Song
from coach.song.files.song_file import parse_song
from coach.song.perform import arrangement_of, perform
from coach.song.piece import Piece
from tests.screens.made_pages import BOOK

LANTERN = """
title = "The lantern on the landing"
key = "G"
meter = "4/4"
tempo = 90
order = ["Verse", "Turn", "Verse", "Chorus"]
source = "words and tune made for these tests"

[parts.Verse]
bars = [
  { beats = 1, chords = "G", words = "The", tune = "D4" },
  { chords = "G", words = "lan-|tern's|on the|land-", tune = "G4 G4 A4:1/2 A4:1/2 B4" },
  { chords = "C D", words = "ing ,", tune = "A4:3 -" },
  { chords = "Em", words = "|the|boat is|still", tune = "- G4 A4:1/2 A4:1/2 B4" },
  { chords = "C", words = "", tune = "+B4:2 -:2" },
  { chords = "G" },
]

[parts.Turn]
bars = [ { chords = "C" }, { chords = "D" } ]

[parts.Chorus]
meter = "3/4"
tempo = 120
bars = [
  { chords = "Am", words = "Ring|me a-|way", tune = "C5 C5:1/2 B4:1/2 A4" },
  { chords = "D", words = "home", tune = "A4:3" },
  { chords = "G" },
  { chords = "G", hold = true },
]

[arrangements.plain]
pattern = "outside-in"
capo = 2
[arrangements.plain.parts.Chorus]
pattern = "waltz-arpeggio"

[arrangements.early]
pattern = "outside-in"
early = true
singing = "pinches"
[arrangements.early.parts.Chorus]
pattern = "waltz-arpeggio"
"""

PATTERNS = read_library(places.shipped("patterns"), places.shipped("patterns") / "none").patterns


def lantern() -> Song:
    """The song above."""
    return parse_song(LANTERN, "lantern")


def performed(song: Song | None = None, arrangement: str = "plain") -> Piece:
    """It in an arrangement, as it is played."""
    song = song or lantern()
    return perform(song, arrangement_of(song, arrangement), PATTERNS, BOOK)


def lantern_loop(arrangement: str = "plain", **more: object) -> Loop:
    """The whole song as a loop."""
    return song_loop(performed(arrangement=arrangement), **more)  # type: ignore[arg-type]


def long_song_text(bars: int) -> str:
    """The file of a verse of so many bars of 4/4, three of four with words on every beat."""
    chords = ("G", "C D", "Em", "Am")
    rows = [
        f'{{ chords = "{chords[k % 4]}"' + (f', words = "row|the|boat|{k}"' if k % 4 < 3 else "") + " }"
        for k in range(bars)
    ]
    return f"""
title = "{bars} bars"
key = "G"
meter = "4/4"
tempo = 120
[parts.Verse]
bars = [
{", ".join(rows)}
]
[arrangements.plain]
pattern = "outside-in"
"""


def long_song(bars: int) -> Song:
    """It as a song."""
    return parse_song(long_song_text(bars), f"long-{bars}")
