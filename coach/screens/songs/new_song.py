"""A new song: its title, key, meter and tempo, asked on one small page."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from coach import places
from coach.errors import CoachError
from coach.screens.shared.leaving import leave
from coach.screens.songs.chart_typing import new_song
from coach.screens.songs.song_draft import shelve
from coach.session.context import World
from coach.song.files.song_file import SUFFIX, parse_song
from coach.song.files.song_shelf import write_song


class NewSong(ModalScreen[str | None]):
    """Title, key, meter and tempo of a new song; ends with its id, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape", "back", "back"), ("up", "app.focus_previous", "up"), ("down", "app.focus_next", "down"),
    ]  # fmt: skip
    CSS = """
    NewSong { align: center middle; background: $background 60%; }
    #new { width: 66; max-width: 100%; height: auto; background: $surface; border: round $primary; padding: 0 1; }
    #new Static { height: auto; color: $foreground; }
    #new Input { height: 1; border: none; padding: 0; background: $panel; color: $foreground; margin: 0 0 1 0; }
    #new #trouble { color: $warning; }
    """
    FIELDS = (("title", ""), ("key", "G"), ("meter", "4/4"), ("tempo", "84"))

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world

    def compose(self) -> ComposeResult:
        """Four lines."""
        with Vertical(id="new"):
            yield Static("A new song", markup=False)
            for name, usual in self.FIELDS:
                yield Static(name, markup=False)
                yield Input(usual, id=f"new-{name}", compact=True)
            yield Static(id="trouble", markup=False)
            yield Static("⏎ next line, and after the last make it  ↑↓ walk  esc back", markup=False)

    def on_mount(self) -> None:
        """Type the title."""
        self.query_one("#new-title", Input).focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """The next line, or the song."""
        if event.input.id == "new-tempo":
            self._make()
        else:
            self.focus_next()

    def _make(self) -> None:
        title, key, meter, tempo = (self.query_one(f"#new-{name}", Input).value.strip() for name, _ in self.FIELDS)
        try:
            text, stem = new_song(title, key, meter, tempo)
            path = self._free(stem)
            write_song(path, text)
        except CoachError as error:
            self.query_one("#trouble", Static).update(str(error))
            return
        song = parse_song(text, path.name.removesuffix(SUFFIX), own=True)
        shelve(self.world, song, path)
        leave(self, song.id)

    def _free(self, stem: str) -> Path:
        taken = self.world.songs.songs
        names = (stem if number == 1 else f"{stem}-{number}" for number in range(1, 10_000))
        return next(
            path
            for name in names
            if name not in taken and not (path := places.songs() / f"{name}{SUFFIX}").exists()
        )

    def action_back(self) -> None:
        """None."""
        leave(self, None)
