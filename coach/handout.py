"""What a song or pattern is handed out as: its sheet in each kind, the sound of its track, its pack."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from coach import places, shelf
from coach.files.writing import new_file
from coach.picking.pattern import Pattern
from coach.plan.cautions import CAUTIONS
from coach.song.arrangement import Arrangement
from coach.song.chart import Song
from coach.song.piece import Piece

if TYPE_CHECKING:
    from coach.paper.pack import Contents
    from coach.sound.mixer import Samples
    from coach.sound.score import BarScore

    # (blocks of sound, frames in all) -> the same blocks; who passes them on may tell how far it is, or stop
    Watch = Callable[[Iterator[Samples], int], Iterator[Samples]]

SHEETS = (".txt", ".pdf", ".musicxml", ".mid")
SHARES = (70, 85, 100)
RATE = 48000


@dataclass(frozen=True)
class Chosen:
    """A piece, and the pattern it is of, or the song and its arrangement; neither for what was typed at the desk."""

    piece: Piece
    pattern: Pattern | None = None
    song: Song | None = None
    arrangement: Arrangement | None = None


def sheet_bytes(what: Chosen, suffix: str, paper: str = "a4", *, layers: bool = False) -> tuple[bytes, int]:
    """The sheet as a file of this suffix, and its pages; what has no pages of its own counts as one.

    With `layers` a pattern's PDF shows all its layers, from the thumb alone to all of it.
    """
    piece = what.piece
    if suffix == ".pdf":
        from coach.paper.pdf.document import make_layers_pdf, make_sheet_pdf

        if what.pattern is not None and layers:
            sheet = make_layers_pdf(piece, about=what.pattern.about, paper=paper)
        else:
            sheet = make_sheet_pdf([piece], source=what.song.source if what.song else "", paper=paper)
        return sheet.data, sheet.pages
    if suffix == ".musicxml":
        from coach.paper.musicxml.score import make_musicxml

        return make_musicxml(piece, source=what.song.source if what.song else ""), 1
    if suffix == ".mid":
        from coach.paper.midi_file import make_midi_file

        return make_midi_file(piece), 1
    from coach.paper.text_tab import write_text_tab

    return write_text_tab(piece, source=what.song.source if what.song else "").encode(), 1


def render(bars: Iterable[BarScore], rate: int) -> Iterator[Samples]:
    """The sound of the bars, block by block, and what rings on at the end."""
    from coach.sound.mixer import render_bars

    return render_bars(bars, rate)


def write_track(
    path: Path, what: Chosen, share: Fraction, loops: int, watch: Watch, *, force: bool = False
) -> int:
    """Write the piece as a track at a share of its tempo, counted in by a bar; the frames written.

    Raises CoachError (BadInput) as `track_bars` and `write_sound` do.
    """
    from coach.sound.sound_files import write_sound
    from coach.sound.timing import frames_of
    from coach.tracks import Sounding, at_share, track_bars

    bars = track_bars(what.piece, Sounding(loops=loops), at_share(share))
    return write_sound(path, watch(render(bars, RATE), frames_of(bars, RATE)), RATE, force=force)


def make_pack(
    path: Path,
    what: Chosen,
    library: Iterable[tuple[str, bytes]],
    watch: Watch,
    *,
    share: Fraction = Fraction(1),
    loops: int = 1,
    paper: str = "a4",
    ending: str = ".wav",
    force: bool = False,
) -> dict[str, Contents]:
    """Write the pack: sheets, tracks at SHARES of `share` of the tempo, the `library` files; what is in it.

    Raises CoachError (BadInput) as its parts do; nothing is left behind then.
    """
    from coach.paper.pack import README, write_pack, write_readme

    contents: dict[str, Contents] = dict(library)
    name = what.piece.id
    for suffix in (".pdf", ".txt"):
        contents[f"sheets/{name}{suffix}"], _ = sheet_bytes(what, suffix, paper)
    with new_file(path, "the pack", force=force) as out, tempfile.TemporaryDirectory() as folder:
        for percent in SHARES:
            track = Path(folder) / f"{percent}{ending}"
            write_track(track, what, Fraction(percent, 100) * share, loops, watch)
            contents[f"tracks/{name}-{percent}{ending}"] = track
        contents[README] = write_readme(what.piece.title, contents, CAUTIONS)
        write_pack(out, contents)
    return contents


def library_files(what: Chosen, name: str, missing: Callable[[str], None]) -> Iterator[tuple[str, bytes]]:
    """The files of the pattern, or of the song and every pattern it names, as they stand in their folders.

    name     the id or path by which it was chosen
    missing  is told the id of a pattern that an arrangement names and nobody has
    """
    wanted = [what.pattern.id] if what.pattern else []
    if what.song is not None:
        wanted = patterns_named(what.song)
        yield f"songs/{what.song.id}.song.toml", shelf.songs().path_of(name).read_bytes()
    known = shelf.library().patterns
    for id_ in wanted:
        if what.pattern is not None and known.get(id_) != what.pattern:
            yield f"patterns/{id_}.toml", Path(name).read_bytes()  # it came from a file outside the library
        elif id_ in known:
            folder = places.patterns() if known[id_].own else places.shipped("patterns")
            yield f"patterns/{id_}.toml", (folder / f"{id_}.toml").read_bytes()
        else:
            missing(id_)


def patterns_named(song: Song) -> list[str]:
    """The ids of all patterns that the song's arrangements name, each once."""
    found: dict[str, None] = {}
    for arrangement in song.arrangements.values():
        for way in (arrangement.way, *arrangement.parts.values()):
            for id_ in (way.pattern, *way.by_chord.values(), *(bar.pattern for bar in way.bars.values())):
                if id_:
                    found[id_] = None
    return list(found)
