"""The songs shelf: shipped and own songs by id, and files written; a broken file is listed and stops nothing."""

from __future__ import annotations

import difflib
import os
from dataclasses import dataclass, field
from pathlib import Path

from coach.errors import BadInput, CoachError, reason
from coach.files.lock import hold_file
from coach.files.reading import files_in
from coach.files.writing import new_file
from coach.picking.pattern_library import BrokenFile
from coach.song.chart import Song
from coach.song.files.song_file import SUFFIX, read_song, read_text, song_id


@dataclass(frozen=True)
class SongShelf:
    """Songs by id, by title from A to Z, with the file of each, and the files that could not be read."""

    songs: dict[str, Song]
    paths: dict[str, Path] = field(default_factory=dict)
    broken: tuple[BrokenFile, ...] = ()

    def has(self, name: str) -> bool:
        """Whether `name` means a song: an id here (readable or not), or a path that ends in `.song.toml`."""
        return name in self.songs or name.endswith(SUFFIX) or any(song_id(b.path) == name for b in self.broken)

    def find(self, name: str) -> Song:
        """The song with this id, or the one in this file. Raises BadInput that names the nearest id."""
        if name in self.songs:
            return self.songs[name]
        path = Path(name)
        if path.suffix == ".toml" or "/" in name or path.is_file():
            return read_song(path, own=True)
        for broken in self.broken:
            if song_id(broken.path) == name:
                raise BadInput(broken.why.rstrip("."))
        near = difflib.get_close_matches(name, self.songs, n=1)
        hint = f"did you mean {near[0]}?" if near else "`coach song` lists them"
        raise BadInput(f"there is no song '{name}'", mend=hint)

    def path_of(self, name: str) -> Path:
        """The file of the song with this id, or the path that `name` is. Raises BadInput like `find`."""
        if name in self.paths:
            return self.paths[name]
        self.find(name)
        return Path(name)


def read_songs(shipped: Path, own: Path) -> SongShelf:
    """Read both folders. An own song stands before a shipped one of the same id."""
    found: dict[str, Song] = {}
    paths: dict[str, Path] = {}
    broken: list[BrokenFile] = []
    for folder, mine in ((shipped, False), (own, True)):
        files, trouble = files_in(folder, SUFFIX)
        if trouble:
            broken.append(BrokenFile(folder, trouble))
        for path in files:
            try:
                song = read_song(path, own=mine)
            except BadInput as error:
                broken.append(BrokenFile(path, str(error)))
                continue
            found[song.id], paths[song.id] = song, path
    ordered = sorted(found.values(), key=lambda song: (song.title.casefold(), song.id))
    return SongShelf({song.id: song for song in ordered}, {song.id: paths[song.id] for song in ordered}, tuple(broken))


def song_file(name: str, shipped: Path, own: Path) -> Path | None:
    """The file of the song `name` in the two folders, or that `name` is the path of; None where there is none.

    Looks for it and reads nothing.
    """
    if name.endswith(SUFFIX):
        return Path(name)
    found = (folder / f"{name}{SUFFIX}" for folder in (own, shipped))
    return next((path for path in found if "/" not in name and os.path.isfile(path)), None)  # or may not be looked at


class SongStandsThere(CoachError):
    """The file is there already, or says something else by now than was read from it; it was left alone."""


def write_song(path: Path, text: str, *, before: str | None = None) -> None:
    """Write a song's file; its folder is made where there is none yet.

    before  the text that was changed, as it was read from this file; None for a new song, which never takes the place
            of a file. Raises SongStandsThere when the file says something else by now or exists, CoachError when it
            cannot be written. Of several who change the same text one is written and the others are told.
    """
    try:
        path = path.resolve()  # where it is a link, what it leads to is written
        path.parent.mkdir(parents=True, exist_ok=True)
    except RuntimeError:
        raise BadInput("its links lead round in a circle", where=str(path), mend="name another file") from None
    except OSError as error:
        raise CoachError(
            f"the folder cannot be made ({reason(error)})", where=str(path.parent), mend="choose another one"
        ) from None
    with hold_file(path, "the song"):
        if path.exists() and before is None:
            raise SongStandsThere("this file exists already", where=str(path), mend="choose another name")
        if path.exists() and read_text(path) != before:
            raise SongStandsThere(
                "this file was changed meanwhile", where=str(path), mend="open the song again and make the change anew"
            )
        with new_file(path, "the song", force=before is not None) as file:
            file.write(text.encode("utf-8"))
