"""The chart of a song, typed: parts, bars, chords, words. Each line is saved as it is typed and can be taken back.

While one types, what cannot be read is told at once and stands in its place; it is kept on the page, marked, until it
is mended, and never gets into the file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import partial
from typing import Any, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.screen import Screen
from textual.widgets import Input, Static

from coach.screens.shared.actions import CHART, action, bindings, first_key, hints
from coach.screens.shared.finder import Ask
from coach.screens.shared.page import SpeakingPage
from coach.screens.shared.row_view import RowView
from coach.screens.shared.thread_results import stands
from coach.screens.songs.chart_text import (
    ADD,
    BAR,
    HEAD,
    PART,
    Place,
    asks,
    cell_text,
    head_of_bars,
    line_of,
    places_of,
    problem_with,
    row_at,
    widths,
)
from coach.screens.songs.chart_typing import bars_or_words, copied, head_or_part, with_part
from coach.screens.songs.song_draft import Draft, Drafted, NotDrafted
from coach.session.context import World
from coach.song.files.edit_song import delete_bar, delete_part, insert_bar, set_bar
from coach.song.files.song_file import SUFFIX

TYPING = "⏎ next line  tab next column  ↑↓ up and down  esc done  F1 all keys"


class Line(Input):
    """The line one types on; a tab goes to the next column of the chart."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("tab", "screen.next_cell", "next column"),
        ("up", "screen.typed_on(-1)", "up"),
        ("down", "screen.typed_on(1)", "down"),
        ("escape", "screen.typed", "done"),
    ]


class ChartPage(SpeakingPage, Screen[None]):
    """See the module's text."""

    HELP_FIRST: ClassVar[str] = "A chart"
    BINDINGS: ClassVar[list[BindingType]] = bindings(CHART)
    AUTO_FOCUS = ""
    CSS = """
    ChartPage { background: $background; overflow: hidden; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #heads { height: 1; }
    #lines { height: 1fr; }
    #ask { height: 1; padding: 0 1; color: $secondary; text-wrap: nowrap; text-overflow: ellipsis; }
    ChartPage Line { height: 1; border: none; padding: 0 1; background: $panel; color: $foreground; display: none; }
    ChartPage.typing Line { display: block; }
    #say { height: auto; max-height: 2; padding: 0 1; color: $warning; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World, song_id: str) -> None:
        """Raises CoachError when there is no such song or its file cannot be read."""
        super().__init__()
        self.world = world
        song = world.songs.find(song_id)
        self.song_id = song.id
        self.draft = Draft(self, world, world.songs.path_of(song_id), own=song.own)
        self.sheet: Mapping[str, Any] = tomllib.loads(self.draft.text)
        self.lines = places_of(self.sheet)
        self.place = next((p for p in self.lines if p.kind == BAR), self.lines[0])
        self.column = 0
        self.typing = False
        self.line = Line(id="type", compact=True, select_on_focus=False)
        self.wrong: dict[Place, dict[str, str]] = {}
        self.asked: dict[str, tuple[Place, str, str]] = {}
        self.leaving = False

    def compose(self) -> ComposeResult:
        """The lines, and one to type on."""
        yield Static(id="title", markup=False)
        yield Static(id="heads", markup=False)
        yield RowView(id="lines")
        yield Static(id="ask", markup=False)
        yield self.line
        yield Static(id="say", markup=False)
        yield Static(id="keys", markup=False)

    def on_resize(self) -> None:
        """As many lines as there is room."""
        self.show()
        self.call_after_refresh(self.show)

    def on_unmount(self) -> None:
        """All is saved before the page is gone, also what is just being typed."""
        if self.typing:
            self._keep(anyhow=True)
        self.draft.close()

    def say(self, sentence: str) -> None:
        """One sentence."""
        if self.is_attached and self.line.is_attached:
            self.query_one("#say", Static).update(sentence)

    @property
    def cell(self) -> str:
        """The cell that is chosen."""
        return self.place.cells[min(self.column, len(self.place.cells) - 1)]

    @property
    def at(self) -> int:
        """Which line is chosen; where it is not there yet, the nearest of its part."""
        if self.place in self.lines:
            return self.lines.index(self.place)
        mine = [k for k, place in enumerate(self.lines) if place.part == self.place.part]
        return mine[-1] if mine else 0

    def show(self) -> None:
        """Draw what is known."""
        if not stands(self):
            return
        sheet, lines, at, cell, wrong = self.sheet, self.lines, self.at, self.cell, self.wrong
        typed = self.line.value if self.typing else None
        width = max(self.size.width, 20)
        bars = sum(len(part.get("bars", ())) for part in sheet.get("parts", {}).values())
        title = f"Chart: {sheet.get('title', '')} · {bars} bars · {self.draft.path.name}"
        self.query_one("#title", Static).update(title)
        self.query_one("#heads", Static).update(head_of_bars(widths(width - 2)))
        self.query_one("#ask", Static).update(asks(self.place, cell))
        keys = TYPING if self.typing else hints(CHART, self.world.keys, width - 2)
        self.query_one("#keys", Static).update(keys)

        def draw(number: int, _: int) -> Text:
            place, here = lines[number], cell if number == at else ""
            return line_of(sheet, place, width - 2, cell=here, typed=typed if here else None, wrong=wrong.get(place))

        self.query_one("#lines", RowView).show(len(lines), draw, at)

    # Saved -------------------------------------------------------------------------------------

    def on_drafted(self, message: Drafted) -> None:
        """It is written: this is the chart now."""
        self.sheet = tomllib.loads(message.text)
        self.lines = places_of(self.sheet)
        if message.note:
            self.say(message.note)
        elif not self.typing:
            self.say("")
        if not self.draft.more and self.place not in self.lines:
            self.place = self.lines[self.at]
        self.show()

    def on_not_drafted(self, message: NotDrafted) -> None:
        """Why it could not be; what was typed stays on the page."""
        asked = self.asked.pop(message.key, None)
        if asked is not None and not message.kept:
            place, cell, text = asked
            self.wrong.setdefault(place, {})[cell] = text
        self.say(message.sentence)
        self.show()

    # Typing ------------------------------------------------------------------------------------

    def action_type(self) -> None:
        """Type in the chosen cell."""
        line = self.line
        self.typing = True
        kept = self.wrong.get(self.place, {}).get(self.cell)
        line.value = cell_text(self.sheet, self.place, self.cell) if kept is None else kept
        line.cursor_position = len(line.value)
        self.set_class(True, "typing")
        line.focus()
        if kept is None:  # what is typed takes the place of what stands there; an arrow key keeps it
            line.action_select_all()
        self.show()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Told at once: what cannot be read."""
        if self.typing:
            self.say(problem_with(self.sheet, self.place, self.cell, event.value))
            self.show()

    def on_input_submitted(self) -> None:
        """On to the next line; an empty line for new bars ends the typing, and so does one of the head."""
        place, text = self.place, self.line.value
        if place.kind in (HEAD, PART) or (place.kind == ADD and not text.strip()):
            self.action_typed()
            return
        more = self._keep()
        if more is None:
            return
        self._go_on(more)

    def action_typed(self) -> None:
        """Keep it and type no more."""
        self._keep(anyhow=True)
        self.typing = False
        self.set_class(False, "typing")
        self.set_focus(None)
        self.show()

    def action_typed_on(self, by: int) -> None:
        """Keep it and type in the line above or below."""
        self._keep(anyhow=True)
        self.action_row(by)
        self.action_type()

    def action_next_cell(self) -> None:
        """Keep it and type in the next column."""
        self._keep(anyhow=True)
        self.column = (min(self.column, len(self.place.cells) - 1) + 1) % len(self.place.cells)
        self.action_type()

    def _go_on(self, bars: int) -> None:
        """To the line after the `bars` that were typed, and type there."""
        place = self.place
        if place.kind == BAR:
            count = len(self.sheet["parts"][place.part].get("bars", ()))
            after = place.bar + bars
            added = bars - 1 if self.cell == "chords" else 0
            self.place = Place(BAR, place.part, after) if after < count + added else Place(ADD, place.part)
        self.action_type()

    def _keep(self, *, anyhow: bool = False) -> int | None:
        """Save what is typed; how many bars it is. None when it cannot be read: it is marked and kept here `anyhow`."""
        place, cell, text = self.place, self.cell, self.line.value
        trouble = problem_with(self.sheet, place, cell, text)
        if trouble:
            self.say(trouble)
            if anyhow:
                self.wrong.setdefault(place, {})[cell] = text
            return None
        if self.wrong.get(place, {}).pop(cell, None) is not None and not self.wrong[place]:
            del self.wrong[place]
        if text == cell_text(self.sheet, place, cell) and place in self.lines:
            return 1
        if place.kind in (HEAD, PART):
            change, after = head_or_part(self.sheet, place, cell, text)
            if after != place:  # renamed
                self.wrong = {
                    Place(p.kind, after.part, p.bar) if p.part == place.part else p: c for p, c in self.wrong.items()
                }
                self.place = after
            bars = 1
        else:
            change, bars = bars_or_words(place, cell, text)
            if place.kind == BAR and cell == "chords":
                self._shift(place, bars - 1)
        key = f"{place} {cell}"
        self.asked[key] = (place, cell, text)
        self.draft.change(change, key if place.kind != ADD else "")
        self.leaving = False
        return bars

    def _shift(self, place: Place, by: int) -> None:
        """Bars were put in after `place` (or it was taken out, -1): what is kept of later ones goes with them."""
        if by:
            self.wrong = {
                Place(BAR, p.part, p.bar + by) if p.kind == BAR and p.part == place.part and p.bar > place.bar else p: c
                for p, c in self.wrong.items()
                if by > 0 or p != place
            }

    # Walking -----------------------------------------------------------------------------------

    def action_row(self, by: int) -> None:
        """Another line."""
        self.place = self.lines[min(max(self.at + by, 0), len(self.lines) - 1)]
        self.show()

    def action_part(self, by: int) -> None:
        """Another part's name."""
        heads = [k for k, place in enumerate(self.lines) if place.kind == PART]
        here = max((n for n, k in enumerate(heads) if k <= self.at), default=-1)
        if heads:
            self.place = self.lines[heads[min(max(here + by, 0), len(heads) - 1)]]
            self.show()

    def action_column(self, by: int) -> None:
        """Another column."""
        self.column = min(max(min(self.column, len(self.place.cells) - 1) + by, 0), len(self.place.cells) - 1)
        self.show()

    # Changing ----------------------------------------------------------------------------------

    async def action_insert(self) -> None:
        """A bar before this one, typed at once."""
        await self.draft.idle()
        place = self.place
        if place.kind == ADD:
            self.action_type()
        elif place.kind == BAR:
            self._shift(Place(BAR, place.part, place.bar - 1), 1)
            self.draft.change(partial(insert_bar, part=place.part, index=place.bar))
            await self.draft.idle()
            self.column = 0
            self.call_after_refresh(self.action_type)

    async def action_delete(self) -> None:
        """Take out the bar, or the part."""
        await self.draft.idle()
        place = self.place
        undo = first_key(action("chart-undo"), self.world.keys)
        if place.kind == BAR:
            self._shift(place, -1)
            self.draft.change(partial(delete_bar, part=place.part, index=place.bar))
        elif place.kind == PART:
            self.draft.change(partial(delete_part, name=place.part))
            await self.draft.idle()
            self.call_after_refresh(self.say, f"{place.part} is taken out; {undo} brings it back")

    def action_way(self, name: str) -> None:
        """Held, silent, or as usual."""
        if self.place.kind != BAR:
            return
        on = not row_at(self.sheet, self.place).get(name)
        other = "silent" if name == "hold" else "hold"
        self.draft.change(
            lambda text, place=self.place: set_bar(text, place.part, place.bar, **{name: on, other: None})  # type: ignore[misc]
        )

    def action_beats(self) -> None:
        """Type the beats of this bar."""
        if self.place.kind == BAR:
            self.column = self.place.cells.index("beats")
            self.action_type()

    def action_order(self) -> None:
        """Type the order."""
        self.place, self.column = Place(HEAD, "order"), 0
        self.action_type()

    def action_new_part(self) -> None:
        """A new part at the end."""
        known = self.sheet.get("parts", {})
        usual = next((n for n in ("Verse", "Chorus", "Bridge", "Ending", "Intro") if n not in known), "")

        def named(name: str | None) -> None:
            if name and name.strip():
                self._add_part(" ".join(name.split()), None)

        self.app.push_screen(Ask("The new part's name:", usual), named)

    def action_copy_part(self) -> None:
        """A part with the same bars."""
        if self.place.kind == HEAD:
            self.say("go to the part first")
            return
        part = self.place.part

        def named(name: str | None) -> None:
            if name and name.strip():
                self._add_part(" ".join(name.split()), part)

        self.app.push_screen(Ask(f"The bars of {part} without its words, as:", f"{part} 2"), named)

    def _add_part(self, name: str, like: str | None) -> None:
        self.draft.change(partial(with_part, name=name) if like is None else copied(self.sheet, like, name))
        self.place, self.column = Place(BAR, name, 0), 0 if like is None else 1
        self.run_worker(self._type_when_there(), exclusive=True, group="type")

    async def _type_when_there(self) -> None:
        await self.draft.idle()
        self.call_after_refresh(self._type_there)

    def _type_there(self) -> None:
        if self.place in self.lines:
            self.action_type()

    def action_undo(self) -> None:
        """Take back."""
        self.draft.undo()

    def action_redo(self) -> None:
        """Again."""
        self.draft.redo()

    # Leaving -----------------------------------------------------------------------------------

    async def action_arrange(self) -> None:
        """To its arrangements."""
        await self.draft.idle()
        from coach.screens.songs.arranging_page import ArrangingPage

        if any(isinstance(screen, ArrangingPage) for screen in self.app.screen_stack):
            self.dismiss()
        else:
            self.coach.open_arranging(self.song_id_now())

    async def action_export(self) -> None:
        """Write files of it."""
        await self.draft.idle()
        self.coach.open_export(self.song_id_now())

    def song_id_now(self) -> str:
        """The id under which it is saved."""
        return self.draft.path.name.removesuffix(SUFFIX)

    async def action_back(self) -> None:
        """Back; all that can be read is saved."""
        await self.draft.idle()
        count = sum(map(len, self.wrong.values()))
        if count and not self.leaving:
            self.leaving = True
            back = first_key(action("chart-back"), self.world.keys)
            told = "a cell marked ! is" if count == 1 else f"{count} cells marked ! are"
            self.place = next(place for place in self.lines if place in self.wrong)
            self.say(f"{told} not in the file, for it cannot be read: mend it, or {back} again leaves it")
            self.show()
            return
        self.dismiss()
