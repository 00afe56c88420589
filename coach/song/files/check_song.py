"""Checking a song file to the end: what reading it tells, and what playing each of its arrangements tells."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from coach.errors import BadInput
from coach.files.toml_map import Path, TomlMap, map_toml
from coach.guitar.grip import Hand
from coach.guitar.open_shapes import ShapeBook
from coach.picking.pattern import Pattern
from coach.song.arrangement import Arrangement, PartWay
from coach.song.chart import Song
from coach.song.files.bar_text import where_sung
from coach.song.files.song_file import Checked, check_text
from coach.song.files.song_reader import Problem, place_name
from coach.song.perform import chords_in_key, perform


def check_song(
    text: str, id_: str, patterns: Mapping[str, Pattern], book: ShapeBook, hand: Hand = Hand()  # noqa: B008
) -> Checked:
    """All that is wrong with a song's text by line; where it can be read, also what keeps it from being played.

    Its notes tell what is no mistake but may not be meant: words that begin at no note of the tune, shapes and
    patterns for chords that do not come.
    """
    checked = check_text(text, id_, patterns=patterns)
    song = checked.song
    if song is None:
        return checked
    places = map_toml(text)
    problems = []
    for arrangement in song.arrangements.values():
        try:
            perform(song, arrangement, patterns, book, hand=hand, parts=tuple(song.parts))
        except BadInput as error:
            path: Path = ("arrangements", arrangement.name)
            where = place_name(path) + (f", {error.where}" if error.where else "")
            problems.append(Problem(places.line_of(path), where, error.what, error.mend))
    odd = [*checked.notes, *_words(song, places)]
    for arrangement in song.arrangements.values():
        odd += _unused(song, arrangement, places)
    return Checked(None if problems else song, tuple(problems), tuple(sorted(odd, key=lambda note: note.line)))


def _words(song: Song, places: TomlMap) -> Iterator[Problem]:
    for part in song.parts.values():
        for number, bar in enumerate(part.bars):
            if bar.tune and (loose := where_sung(bar.words, bar.tune)):
                path: Path = ("parts", part.name, "bars", number)
                what = f"'{loose[0].text}' begins where the tune has no note"
                yield Problem(places.line_of(path), place_name(path), what, "put a | or a note where it begins")


def _unused(song: Song, arrangement: Arrangement, places: TomlMap) -> Iterator[Problem]:
    key = arrangement.key or song.key
    chords = {
        name: {str(chord) for bar in part.bars for _, chord in chords_in_key(bar, song.key, key)}
        for name, part in song.parts.items()
    }
    every = set().union(*chords.values())
    ways: list[tuple[Path, PartWay, set[str]]] = [(("arrangements", arrangement.name), arrangement.way, every)]
    ways += [(("arrangements", arrangement.name, "parts", n), w, chords[n]) for n, w in arrangement.parts.items()]
    for path, way, known in ways:
        for table in ("by_chord", "shapes", "stand_in"):
            for chord in getattr(way, table):
                # A shape may be there for a chord that is stood in for.
                if chord not in known and not any(r.split(":")[0] == chord for r in way.stand_in.values()):
                    here: Path = (*path, table, chord)
                    what = f"{chord} does not come here in {key.title}"
                    mend = "write chords as they are in the arrangement's key"
                    yield Problem(places.line_of(here), place_name(here), what, mend)
