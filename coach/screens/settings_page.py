"""The settings: one line each, arrows change, what each means stands beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.screen import Screen
from textual.widgets import Static

from coach.music.clicks import CLICK_MODES
from coach.music.ramps import RAMP_NAMES
from coach.session.conductor import GUIDES
from coach.session.context import World
from coach.settings import BARRES, LOOKS, THINNING

# Usual ranges of untrained voices, low to high (common practice, no source).
VOICES = ("", "E2-B3", "G2-C4", "A2-D4", "C3-F4", "E3-A4", "G3-C5", "A3-D5", "C4-F5")
Step = Callable[[Any, int], Any]


def _number(low: float, high: float, step: float) -> Step:
    def move(value: float, by: int) -> float:
        moved = min(max(value + by * step, low), high)
        return round(moved, 2) if isinstance(value, float) else int(moved)

    return move


def _among(choices: list[str]) -> Step:
    return lambda value, by: choices[(choices.index(value) + by) % len(choices)] if value in choices else choices[0]


@dataclass(frozen=True)
class Row:
    """A setting: its name, what it means, how arrows move it."""

    name: str
    says: str
    move: Step


ROWS = (
    Row("minutes", "minutes of today's practice, rests included", _number(5, 240, 5)),
    Row("new_a_day", "new patterns let in each day", _number(0, 5, 1)),
    Row("turn_minutes", "minutes of one turn before another drill comes", _number(1, 15, 1)),
    Row("ramp", "how the tempo moves", _among(list(RAMP_NAMES))),
    Row("click_mode", "which beats click", _among(list(CLICK_MODES))),
    Row("bars_on", "bars with a click, where bars fall silent", _number(1, 16, 1)),
    Row("bars_off", "bars without", _number(0, 16, 1)),
    Row("click_volume", "click, 0 to 1; keep it low in headphones", _number(0.0, 1.0, 0.1)),
    Row("guide", "guide notes", _among(list(GUIDES))),
    Row("guide_volume", "guide, 0 to 1", _number(0.0, 1.0, 0.1)),
    Row("humming", "a song's tune is hummed along", lambda value, by: not value),
    Row("thinning", "when the picking thins: as arranged, early, with the words", _among(list(THINNING))),
    Row("ladder", "singing, a clean pass brings the next layer", lambda value, by: not value),
    Row("still_tab", "the page stands still and the cursor moves", lambda value, by: not value),
    Row("bell", "the terminal's bell clicks when there is no sound", lambda value, by: not value),
    Row("look", "colours: light on dark, or dark on light", _among(list(LOOKS))),
    Row("midi_out", "MIDI port that gets the same stream", lambda value, by: value),
    Row("buffer_ms", "sound buffer in ms; smaller answers sooner, may stutter", _number(10, 200, 10)),
    Row("offset_ms", "ms by which your ears hear later than the coach thinks", _number(-500.0, 500.0, 5.0)),
    Row("span_mm", "longest comfortable stretch of the fretting hand, in mm", _number(40.0, 200.0, 5.0)),
    Row("thumb_over", "the fretting thumb comes over the neck", lambda value, by: not value),
    Row("barres", "welcome barres: full, small (three strings), none", _among(list(BARRES))),
    Row("voice", "what you sing in comfort; another range: on the arrangement's page", _among(list(VOICES))),
    Row("scale_mm", "length of your guitar's open strings, in mm", _number(400.0, 800.0, 1.0)),
)


def first_row(chosen: int, rows: int, room: int) -> int:
    """The first of `rows` lines to show where there is room for `room`, so that the chosen one is in sight."""
    return min(max(chosen - room + 1, 0), max(rows - room, 0))


class SettingsPage(Screen[None]):
    """Up and down choose, left and right change; written down on leaving."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("up", "choose(-1)", "up"),
        ("down", "choose(1)", "down"),
        ("left", "change(-1)", "less"),
        ("right,space,enter", "change(1)", "more"),
        ("escape,q", "back", "back"),
    ]
    CSS = """
    SettingsPage { background: $background; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #rows { height: 1fr; padding: 1 2 0 2; text-wrap: nowrap; text-overflow: ellipsis; }
    #means { height: 2; padding: 0 2; color: $foreground; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world
        self.at = 0
        self.ports = [""]

    def compose(self) -> ComposeResult:
        """One text."""
        yield Static("Settings", id="title", markup=False)
        yield Static(id="rows", markup=False)
        yield Static(id="means", markup=False)
        yield Static("↑↓ choose  ←→ change  esc back and write down", id="keys", markup=False)

    def on_mount(self) -> None:
        """Look for MIDI ports away from the screen."""
        self._show()
        self.run_worker(self._find_ports, thread=True)

    def _find_ports(self) -> None:
        from coach.sound.midi_out import list_ports

        self.ports = ["", *list_ports()["outputs"]]

    def _show(self) -> None:
        text = Text(no_wrap=True, overflow="ellipsis")
        room = self.query_one("#rows").content_size.height or len(ROWS)
        first = first_row(self.at, len(ROWS), room)
        for number, row in list(enumerate(ROWS))[first : first + room]:
            value = getattr(self.world.settings, row.name)
            said = ("yes" if value else "no") if isinstance(value, bool) else str(value) or "none"
            chosen = number == self.at
            line = f"{'▸' if chosen else ' '} {row.name.replace('_', ' '):<14} {said:<12}"
            text.append(line, style="bold" if chosen else "")
            text.append(f" {row.says}\n", style="" if chosen else "dim")
        self.query_one("#rows", Static).update(text)
        chosen_row = ROWS[self.at]
        self.query_one("#means", Static).update(f"{chosen_row.name.replace('_', ' ')}: {chosen_row.says}")

    def on_resize(self) -> None:
        """The chosen row stays in sight."""
        self.call_after_refresh(self._show)

    def action_choose(self, by: int) -> None:
        """Another row."""
        self.at = (self.at + by) % len(ROWS)
        self._show()

    def action_change(self, by: int) -> None:
        """Another value."""
        row = ROWS[self.at]
        move = _among(self.ports) if row.name == "midi_out" else row.move
        self.world.change(**{row.name: move(getattr(self.world.settings, row.name), by)})
        self.app.theme = self.world.settings.look
        self._show()

    def action_back(self) -> None:
        """Write them down and go."""
        problem = self.world.save()
        if problem:
            self.app.notify(problem, severity="error", markup=False)
        self.dismiss()
