"""A song file being changed in the app: each change is made and saved at once, away from the screen, and can be undone.

A shipped song is copied to the player's own songs with the first change. When the file says something else by now
than was read from it, what is changed here goes into a file beside it, so that nothing of either is lost.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from pathlib import Path
from threading import Lock, Thread

from textual.message import Message
from textual.widget import Widget

from coach import places
from coach.errors import CoachError
from coach.session.context import World
from coach.song.chart import Song
from coach.song.files.song_file import SUFFIX, check_text, read_text, song_id
from coach.song.files.song_shelf import SongShelf, SongStandsThere, write_song

Change = Callable[[str], str]
MOST_UNDONE = 200
CLOSE_S = 10.0


class Drafted(Message):
    """A change is made and saved: the new text and what it says; `note` is a sentence about where it went, or ""."""

    def __init__(self, text: str, song: Song, path: Path, note: str) -> None:
        self.text, self.song, self.path, self.note = text, song, path, note
        super().__init__()


class NotDrafted(Message):
    """A change could not be made (`key` is what it was called), or not be saved (`kept`: it is made all the same)."""

    def __init__(self, sentence: str, key: str, kept: bool = False) -> None:
        self.sentence, self.key, self.kept = sentence, key, kept
        super().__init__()


class Draft:
    """`text` is the newest text that is made; `page` gets the messages. Changes are made one after another."""

    def __init__(self, page: Widget, world: World, path: Path, *, own: bool, text: str | None = None) -> None:
        """Read the file at `path`; with `text` begin a new file there. Raises CoachError."""
        self._page = page
        self._world = world
        self.text = read_text(path) if text is None else text
        self.path = path if own else places.songs() / path.name
        self._saved: str | None = self.text if own and text is None else None
        self._lock = Lock()
        self._waiting: deque[tuple[Change, str]] = deque()
        self._undone: list[str] = []
        self._past: list[str] = []
        self._thread: Thread | None = None
        self._left = 0  # changes asked for and not told of yet

    def change(self, change: Change, key: str = "") -> None:
        """Make a change; one that waits under the same `key` gives way to it."""
        with self._lock:
            if key and self._waiting and self._waiting[-1][1] == key:
                self._waiting.pop()
                self._left -= 1
            self._left += 1
            self._waiting.append((change, key))
            if self._thread is None:
                self._thread = Thread(target=self._work, name="coach-draft", daemon=True)
                self._thread.start()

    def undo(self) -> None:
        """As it was before the last change."""
        self.change(self._back, "")

    def redo(self) -> None:
        """The last change that was taken back again."""
        self.change(self._forth, "")

    @property
    def busy(self) -> bool:
        """Whether something is still to be made."""
        return self._thread is not None

    @property
    def more(self) -> bool:
        """Whether what was told last is not the newest that was asked for."""
        return self._left > 0

    async def idle(self) -> None:
        """Wait, with the screen alive, until all that was asked is made."""
        while self._thread is not None:
            await asyncio.sleep(0.01)

    def close(self) -> None:
        """Wait until all is saved."""
        thread = self._thread
        if thread is not None:
            thread.join(CLOSE_S)

    def _back(self, text: str) -> str:
        if not self._past:
            raise CoachError("there is nothing to take back")
        self._undone.append(text)
        return self._past.pop()

    def _forth(self, text: str) -> str:
        if not self._undone:
            raise CoachError("there is nothing to do again")
        self._past.append(text)
        return self._undone.pop()

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._waiting:
                    self._thread = None
                    return
                change, key = self._waiting.popleft()
            messages = self._make(change, key)
            with self._lock:
                # Before it is told: who hears of the last one must not take it for one that others follow.
                self._left -= 1
            for message in messages:
                self._page.post_message(message)

    def _make(self, change: Change, key: str) -> list[Message]:
        """Make one change; what is to be told of it."""
        told: list[Message] = []
        before = self.text
        walking = change in (self._back, self._forth)
        try:
            after = change(before)
            song = check_text(after, song_id(self.path), own=True).song
        except CoachError as error:
            return [NotDrafted(str(error), key)]
        if song is None or after == before:
            return []
        if not walking:
            self._past = [*self._past, before][-MOST_UNDONE:]
            self._undone.clear()
        self.text = after
        try:
            note = self._save(after)
        except CoachError as error:
            told.append(NotDrafted(str(error), key, kept=True))
            note = ""
        shelve(self._world, song, self.path)
        return [*told, Drafted(after, song, self.path, note)]

    def _save(self, text: str) -> str:
        """Write it; a sentence when it went elsewhere than was read from. Raises CoachError."""
        read, note = self.path.name, "" if self._saved is not None else f"written to {self.path}"
        while True:
            try:
                write_song(self.path, text, before=self._saved)
            except SongStandsThere:
                self.path, self._saved = self._free(), None
                note = f"{read} was changed meanwhile and is left alone; this goes on in {self.path.name}"
            else:
                self._saved = text
                return note

    def _free(self) -> Path:
        stem = song_id(self.path)
        names = (self.path.with_name(f"{stem}-{number}{SUFFIX}") for number in range(2, 10_000))
        return next(path for path in names if not path.exists())


def shelve(world: World, song: Song, path: Path) -> None:
    """The world's shelf with this song as it is now."""
    shelf = world.songs
    songs = sorted({**shelf.songs, song.id: song}.values(), key=lambda one: (one.title.casefold(), one.id))
    world.songs = SongShelf({one.id: one for one in songs}, {**shelf.paths, song.id: path}, shelf.broken)
