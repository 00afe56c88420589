"""The songbook: every song, how far each of its parts is, what fades, and the day it must be ready by.

Figures are read away from the screen; a song's drills are made when it is first looked at.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.drills import song_choices
from coach.drills.drill_id import DrillId, Kind, Voice
from coach.errors import CoachError
from coach.log.ledger_status import begun
from coach.log.notes import NoteKind
from coach.screens.shared.actions import SONGBOOK, bindings, hints
from coach.screens.shared.finder import Ask
from coach.screens.shared.page import Page
from coach.screens.shared.thread_results import hand_over
from coach.screens.songs.songbook_text import (
    SongLine,
    due_count,
    foot,
    head_lines,
    list_line,
    list_order,
    row_line,
    table_head,
)
from coach.session.context import World
from coach.skill.readiness import BEGUN, NEW, PLAYED, DrillState, ReadinessRow, make_rows, stands

if TYPE_CHECKING:
    from datetime import date

    from coach.drills.pattern_drills import Drill
    from coach.skill.history import Past
    from coach.skill.steady_tempo import SteadyTempo

NARROW, WIDE = 76, 120
SHORT = 30  # lines below which the song's head leaves room for its parts
LIST_NARROW, LIST_USUAL, LIST_WIDE = 20, 24, 46
FREE_MINUTES = 5
NO_SUCH: dict[str, str] = {
    Kind.SPOKEN: "there are no words to speak there",
    Voice.SING: "there are no words to sing there",
}


class Book:
    """What was read of songs and ledger, once, on a thread."""

    def __init__(self, world: World) -> None:
        from coach import shelf
        from coach.drills.song_choices import Settled

        self.world = world
        self.today: date = world.now().date()
        self.songs = world.songs
        self.settled = shelf.settled(world.ledger_path)
        self.pasts: dict[str, Past] = {}
        self.steady: dict[str, SteadyTempo] = {}
        self._known: dict[str, tuple[Drill, ...]] = {}
        drills = world.drills
        if begun(world.ledger_path):
            from coach.log.ledger import Ledger
            from coach.skill.estimates import Estimates

            with Ledger(world.ledger_path) as ledger, Estimates(ledger) as estimates:
                self.pasts = estimates.pasts()
                self.steady = estimates.steadies(drills, self.today)
        practised: dict[str, list[Drill]] = {}
        for drill in drills:
            if drill.song:
                practised.setdefault(drill.song, []).append(drill)
        self._known = {name: self._with_corners(name, own) for name, own in practised.items()}
        self.lines: list[SongLine] = []
        for song in self.songs.songs.values():
            known = self.stands(song.id) if song.id in practised else {}
            played = [one.last for one in known.values() if one.last is not None]
            self.lines.append(
                SongLine(
                    song,
                    self.settled.get(song.id, Settled()),
                    song.id in practised,
                    max(played, default=None),
                    due_count(known),
                )
            )
        self.lines.sort(key=lambda one: list_order(one, self.today))

    def _with_corners(self, song: str, drills: list[Drill]) -> tuple[Drill, ...]:
        """A song's drills and the corners of it that were played."""
        ids = {drill.id for drill in drills}
        for id_ in self.pasts:
            if DrillId.parse(id_).song == song and id_ not in ids:
                try:
                    drills.append(self.world.drill(id_))
                except CoachError:  # of a part or arrangement that is no more
                    continue
        return tuple(drills)

    def stands(self, song_id: str) -> dict[str, DrillState]:
        """How each drill of a song stands, by id."""
        if song_id not in self._known:
            from coach.drills.song_drills import make_song_drills

            found = make_song_drills(self.songs.songs[song_id], self.world.library.patterns, self.world.book)
            self._known[song_id] = found
        return {
            drill.id: stands(drill, self.pasts.get(drill.id), self.steady.get(drill.id), self.today)
            for drill in self._known[song_id]
        }


class Listed(OptionList):
    """A list whose left and right belong to the page."""

    def __init__(self, id: str) -> None:
        super().__init__(id=id)


class Songbook(Page, Screen[None]):
    """Songs on the left, the chosen one on the right."""

    HELP_FIRST: ClassVar[str] = "The songbook"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SONGBOOK)
    CSS = """
    Songbook { background: $background; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #songs { scrollbar-size-vertical: 1; width: 24; height: 1fr; background: $background; border: none; padding: 0; }
    #songs, #rows { text-wrap: nowrap; text-overflow: ellipsis; }
    #songs:focus, #rows:focus { background-tint: $foreground 0%; }
    #songs > .option-list--option { padding: 0 0 0 1; }
    #songs > .option-list--option-highlighted, #rows > .option-list--option-highlighted {
        background: $panel; color: $foreground; text-style: bold;
    }
    #song { width: 1fr; height: 1fr; padding: 0 0 0 2; }
    #head { height: auto; color: $foreground; margin: 0 0 1 0; }
    #over { height: 1; color: $foreground 80%; }
    #rows { height: 1fr; background: $background; border: none; padding: 0; scrollbar-size-vertical: 1; }
    #rows > .option-list--option { padding: 0; }
    #foot { height: auto; max-height: 3; color: $foreground 85%; }
    Songbook.narrow #songs { width: 20; }
    Songbook.wide #songs { width: 46; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world
        self.book: Book | None = None
        self.rows: list[ReadinessRow] = []
        self._at = ""
        self._arrangement: dict[str, str] = {}

    def compose(self) -> ComposeResult:
        """List and song."""
        yield Static("Songbook", id="title", markup=False)
        with Horizontal():
            yield Listed("songs")
            with Vertical(id="song"):
                yield Static("reading the songs …", id="head", markup=False)
                yield Static(id="over", markup=False)
                yield Listed("rows")
                yield Static(id="foot", markup=False)
        yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """The songs have the arrows; all is read after the first paint."""
        self.query_one("#songs", OptionList).focus()
        self.call_after_refresh(self.read)

    def on_screen_resume(self) -> None:
        """Back from the stage, an arrangement or a chart: much may be new."""
        if self.book is not None:
            self.read(after=True)

    def on_resize(self) -> None:
        """As wide as there is room."""
        self.set_class(self.size.width < NARROW, "narrow")
        self.set_class(self.size.width >= WIDE, "wide")
        self.query_one("#keys", Static).update(hints(SONGBOOK, self.world.keys, max(self.size.width - 2, 20)))
        self._list()
        self._draw()

    # Reading, away from the screen -------------------------------------------------------------

    @work(thread=True, exclusive=True, group="book")
    def read(self, after: bool = False) -> None:
        """Read songs and ledger; `after` what the scribe has been told by now is written."""
        app, scribe = self.app, self.coach.scribe
        try:
            if after:
                scribe.wait()
                self.world.forget_drills()
            book = Book(self.world)
        except CoachError as error:
            hand_over(app, self._say, str(error))
            return
        hand_over(app, self._read, book)

    def _read(self, book: Book) -> None:
        self.book = book
        count = len(book.lines)
        broken = f" · {len(book.songs.broken)} cannot be read" if book.songs.broken else ""
        self.query_one("#title", Static).update(f"Songbook · {count} song{'' if count == 1 else 's'}{broken}")
        self._list()
        self._draw()
        for one in book.songs.broken[:2]:
            self._say(one.why)

    # What is shown -----------------------------------------------------------------------------

    @property
    def line(self) -> SongLine | None:
        """The song the list is at."""
        return next((one for one in self.book.lines if one.song.id == self._at), None) if self.book else None

    @property
    def arrangement(self) -> str:
        """The arrangement in hand, "" where there is none."""
        one = self.line
        if one is None:
            return ""
        names = list(one.song.arrangements)
        chosen = self._arrangement.get(one.song.id, "")
        return chosen if chosen in names else next(iter(names), "")

    @property
    def other(self) -> str:
        """The arrangement that the key for the other one would take in hand, "" where there is none."""
        one = self.line
        names = list(one.song.arrangements) if one is not None else []
        return names[(names.index(self.arrangement) + 1) % len(names)] if len(names) > 1 else ""

    @property
    def row(self) -> ReadinessRow | None:
        """The line of the song that is chosen."""
        at = self.query_one("#rows", OptionList).highlighted
        return self.rows[at] if at is not None and at < len(self.rows) else None

    def _list_width(self) -> int:
        width = self.size.width
        return LIST_NARROW if width < NARROW else LIST_WIDE if width >= WIDE else LIST_USUAL

    def _list(self) -> None:
        if self.book is None:
            return
        listed = self.query_one("#songs", OptionList)
        ids = [one.song.id for one in self.book.lines]
        if self._at not in ids:
            self._at = next(iter(ids), "")
        at, width = self._at, self._list_width() - 2
        with self.prevent(OptionList.OptionHighlighted):
            listed.clear_options()
            listed.add_options(
                [Option(Text(list_line(one, self.book.today, width), no_wrap=True)) for one in self.book.lines]
            )
            listed.highlighted = ids.index(at) if at in ids else None

    def _room(self) -> int:
        return max(self.size.width - self._list_width() - 3, 24)

    def _draw(self) -> None:
        """The chosen song."""
        if self.book is None:
            return
        one, width = self.line, self._room()
        listed = self.query_one("#rows", OptionList)
        at = listed.highlighted or 0
        every = list(self.book.stands(one.song.id).values()) if one is not None else []
        self.rows, other = make_rows(every, self.arrangement), self.other
        there = {(row.kind, row.name): row for row in make_rows(every, other)} if other else {}
        if one is None:
            self.query_one("#head", Static).update("There is no song yet: n begins one, i brings one in.")
        else:
            short = self.size.height < SHORT
            told = head_lines(one, self.arrangement, self.rows, self.book.today, width, short=short)
            if not one.song.arrangements:
                told.append("It has no arrangement yet: a proposes two.")
            head = Text("\n".join(told), no_wrap=True)
            head.stylize("bold", 0, len(told[0]))
            self.query_one("#head", Static).update(head)
        self.query_one("#over", Static).update(table_head(width, other) if self.rows else "")
        with self.prevent(OptionList.OptionHighlighted):
            listed.clear_options()
            lines = [row_line(row, width, other, there.get((row.kind, row.name))) for row in self.rows]
            listed.add_options([Option(_quiet(line)) for line in lines])
            listed.highlighted = min(at, len(self.rows) - 1) if self.rows else None
        self._foot()

    def _foot(self) -> None:
        self.query_one("#foot", Static).update(foot(self.rows, self.row) if self.rows else "")

    def _say(self, sentence: str) -> None:
        self.notify(sentence, severity="warning", timeout=8, markup=False)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Another song, or another line of it."""
        if event.option_list.id == "rows":
            self._foot()
        elif self.book is not None and event.option_index < len(self.book.lines):
            chosen = self.book.lines[event.option_index].song.id
            if chosen != self._at:
                self._at = chosen
                self.query_one("#rows", OptionList).highlighted = None
                self._draw()

    def on_option_list_option_selected(self) -> None:
        """Enter on a list, or a click."""
        self.action_play()

    # Keys: moving ------------------------------------------------------------------------------

    def action_side(self, by: int) -> None:
        """The songs, or the lines of the chosen one, have the arrows."""
        self.query_one("#rows" if by > 0 else "#songs", OptionList).focus()

    def action_other(self) -> None:
        """The next arrangement."""
        one = self.line
        if one is not None and self.other:
            self._arrangement[one.song.id] = self.other
            self._draw()

    # Keys: playing -----------------------------------------------------------------------------

    def action_play(self) -> None:
        """The chosen line, played."""
        row = self.row
        if row is not None:
            self._practise(row.ways.get(PLAYED) or row.first)

    def action_sing(self, way: str) -> None:
        """The chosen line, sung or spoken."""
        row = self.row
        if row is None:
            self._unarranged()
        elif way in row.ways:
            self._practise(row.ways[way])
        else:
            self._say(f"{row.name}: {NO_SUCH.get(way, NO_SUCH[Voice.SING])}.")

    def _unarranged(self) -> None:
        if self.line is not None:
            self._say("It has no arrangement yet: a proposes two.")

    def _practise(self, one: DrillState) -> None:
        from coach.picking.layers import FULL
        from coach.plan.block_tempo import span
        from coach.plan.planner import Block

        assert self.book is not None
        drill = one.drill
        aim = span(drill, self.book.pasts.get(drill.id), FULL, False, self.book.steady.get(drill.id))
        block = Block(
            "play", drill.id, drill.title, FREE_MINUTES, aim.low, aim.high, FULL, (aim.why,), drill.step_share
        )
        self.coach.practise((block,))

    # Keys: settling ----------------------------------------------------------------------------

    @work(thread=True, group="settle")
    def settle(self, text: str) -> None:
        """Write down what was settled, away from the screen, and read again."""
        try:
            self.world.note(NoteKind.SONG_SETTLED, text)
        except CoachError as error:
            self.app.call_from_thread(self._say, str(error))
            return
        self.world.forget_drills()
        self.app.call_from_thread(self.read)

    def action_take_up(self) -> None:
        """It comes into today's plans."""
        one = self.line
        if one is not None:
            self.settle(song_choices.note_text(song_choices.TAKE_UP, one.song.id))

    def action_rest(self) -> None:
        """Put to rest, or brought back."""
        one = self.line
        if one is not None:
            what = song_choices.WAKE if one.settled.resting else song_choices.REST
            self.settle(song_choices.note_text(what, one.song.id))

    def action_day(self) -> None:
        """The day it must be ready by."""
        one = self.line
        if one is None or self.book is None:
            return
        today = self.book.today

        def told(text: str | None) -> None:
            if text is None:
                return
            try:
                day = song_choices.read_day(text, today) if text.strip() else None
            except CoachError as error:
                self._say(str(error))
                return
            self.settle(song_choices.note_text(song_choices.DUE, one.song.id, day))

        given = one.settled.due.isoformat() if one.settled.due else ""
        question = f"{one.song.title} must be ready by (like {today.isoformat()}, or +14; empty for no day):"
        self.app.push_screen(Ask(question, given), told)

    # Keys: other pages -------------------------------------------------------------------------

    def action_arrange(self) -> None:
        """Its arrangements; a song without any gets two."""
        if self.line is not None:
            self.coach.open_arranging(self.line.song.id, self.arrangement)

    def action_chart(self) -> None:
        """Its chart."""
        if self.line is not None:
            self.coach.open_chart(self.line.song.id)

    def action_new(self) -> None:
        """A new song."""
        self.coach.open_chart(None)

    def action_export(self) -> None:
        """Files of it."""
        if self.line is None:
            return
        if not self.arrangement:
            self._unarranged()
            return
        self.coach.open_export(f"{self.line.song.id}/{self.arrangement}")

    def action_bring_in(self) -> None:
        """A lead sheet from a MusicXML file."""

        def told(text: str | None) -> None:
            if text and text.strip():
                self.query_one("#head", Static).update("reading the sheet …")
                self.bring_in(Path(text.strip()).expanduser())

        self.app.push_screen(Ask("Path of a lead sheet, .musicxml or .mxl:"), told)

    @work(thread=True, exclusive=True, group="bring in")
    def bring_in(self, path: Path) -> None:
        """Read the sheet and write it as a song, away from the screen; no file's place is taken."""
        from coach import places, shelf
        from coach.song.files.song_file import SUFFIX
        from coach.song.files.song_shelf import write_song
        from coach.song.files.song_text import song_text
        from coach.song.leadsheet.lead_sheet import read_leadsheet, slug

        try:
            stem = slug(path.stem)
            taken = {*self.world.songs.songs, *shelf.song_files()}
            name = next(n for n in (stem, *(f"{stem}-{k}" for k in range(2, 1000))) if n not in taken)
            sheet = read_leadsheet(path, name)
            write_song(places.songs() / f"{name}{SUFFIX}", song_text(sheet.song))
            self.world.reread_songs()
        except (CoachError, OSError) as error:
            self.app.call_from_thread(self._say, str(error))
            self.app.call_from_thread(self._draw)
            return
        self._at = name
        self.app.call_from_thread(self.read)
        for note in sheet.notes[:3]:
            self.app.call_from_thread(self._say, note)

    def action_back(self) -> None:
        """Back to today."""
        self.dismiss()


def _quiet(line: str) -> Text:
    """A line on which what is new stands back, so that what was played is seen first."""
    text = Text(line, no_wrap=True)
    text.highlight_regex(rf"(?<= )(?:{NEW}|{BEGUN})(?= |$)", "dim")
    return text
