"""Progress: how each drill has gone, where it breaks, what is under way about it, and what fades.

The ledger is read and worked out away from the screen; a drill's sheet is made when it is first looked at.
"""

from __future__ import annotations

from datetime import timedelta
from textwrap import wrap
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.color import Color
from textual.containers import Horizontal
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach import shelf
from coach.errors import CoachError
from coach.log.ledger_status import begun
from coach.log.local_days import told_minutes
from coach.screens.progress.plots import glyphs_here
from coach.screens.progress.progress_text import FIGURE, HEADING, PLOT, VIEWS, Line, Room, drill_lines, list_line
from coach.screens.shared.actions import PROGRESS, action, bindings, first_key, hints
from coach.screens.shared.page import Page
from coach.screens.shared.thread_results import hand_over
from coach.session.context import World

if TYPE_CHECKING:
    from datetime import date

    from coach.drills.loop_map import LoopMap
    from coach.drills.pattern_drills import Drill
    from coach.log.takes import Stumble, Take
    from coach.plan.planner import Block
    from coach.skill.memory import Memory
    from coach.skill.progress import Sheet, Standing
    from coach.skill.remedies import Course
    from coach.skill.steady_tempo import SteadyTempo

NARROW, WIDE = 76, 120
LIST_NARROW, LIST_USUAL, LIST_WIDE = 20, 23, 50
MINUTE_DAYS = 28
REMEDY_MINUTES = 5


class Record:
    """What was read of the ledger, once, on a thread: takes by drill, steady tempos, stumbles, remedies taken up."""

    def __init__(self, world: World) -> None:
        from coach.log.ledger import Ledger
        from coach.log.playing_time import last_days
        from coach.plan.checkup import late_stumbles, taken_courses
        from coach.skill.estimates import Estimates
        from coach.skill.progress import by_drill, standings

        self.world = world
        self.today: date = world.now().date()
        self.takes: dict[str, list[Take]] = {}
        self.stumbles: dict[str, list[Stumble]] = {}
        self.courses: dict[str, list[Course]] = {}
        steady: dict[str, SteadyTempo] = {}
        remembered: dict[str, Memory | None] = {}
        if begun(world.ledger_path):
            with Ledger(world.ledger_path) as ledger, Estimates(ledger) as estimates:
                self.takes = by_drill(ledger.takes())
                self.stumbles = late_stumbles(ledger, self.today)
                self.courses = taken_courses(ledger)
                steady = estimates.steadies(world.drills, self.today)
                remembered = {drill: past.memory for drill, past in estimates.pasts().items()}
        self.standings: list[Standing] = standings(world.drills, self.takes, steady, self.today, remembered)
        playing = shelf.playing(world.library, world.now(), world.ledger_path, timedelta(MINUTE_DAYS + 2))
        self.minutes = last_days(playing.by_day(), self.today, MINUTE_DAYS)

    def _piece_map(self, drill: Drill) -> LoopMap | None:
        """The map of what the stage would play; None when it cannot be read."""
        from coach.drills.loop_map import map_piece
        from coach.plan.planner import Block

        try:
            return map_piece(self.world.loop(Block("play", drill.id, drill.title, 1)).piece.bars)
        except CoachError:
            return None

    def sheet(self, one: Standing) -> Sheet:
        """Everything on one drill; takes some tens of milliseconds."""
        from coach.plan.checkup import map_drill
        from coach.skill.diagnosis import gathered
        from coach.skill.plateau import curve
        from coach.skill.progress import sheet
        from coach.skill.remedies import finding

        drill = one.drill
        takes, stumbles = self.takes.get(drill.id, []), self.stumbles.get(drill.id, [])
        loop = map_drill(drill, self.world.library) or self._piece_map(drill)
        trouble = gathered(loop.counts(stumbles), loop) if loop is not None else None
        found = finding(
            drill.id, trouble, curve(takes), self.courses.get(drill.id, []), takes, drill.target_bpm, self.today
        )
        return sheet(one, takes, stumbles, loop, found, self.today)


class ProgressPage(Page, Screen[None]):
    """The drills that were played on the left, the chosen one on the right."""

    HELP_FIRST: ClassVar[str] = "Progress"
    BINDINGS: ClassVar[list[BindingType]] = bindings(PROGRESS)
    CSS = """
    ProgressPage { background: $background; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #list { scrollbar-size-vertical: 1; width: 23; height: 1fr; background: $background; border: none; padding: 0; }
    #list { text-wrap: nowrap; text-overflow: ellipsis; }
    #list:focus { background-tint: $foreground 0%; }
    #list > .option-list--option { padding: 0 0 0 1; }
    #list > .option-list--option-highlighted { background: $panel; color: $foreground; text-style: bold; }
    #sheet { width: 1fr; height: 1fr; padding: 0 1 0 2; color: $foreground; text-wrap: nowrap; text-overflow: clip; }
    ProgressPage.narrow #list { width: 20; }
    ProgressPage.wide #list { width: 50; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world
        self.record: Record | None = None
        self.sheets: dict[str, Sheet] = {}
        self.view = next(iter(VIEWS))

    def compose(self) -> ComposeResult:
        """List and sheet."""
        yield Static("Progress", id="title", markup=False)
        with Horizontal():
            yield OptionList(id="list")
            yield Static("reading the ledger …", id="sheet", markup=False)
        yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """The list has the arrows; the ledger is read after the first paint."""
        self.query_one("#list", OptionList).focus()
        self.call_after_refresh(self.read)

    def on_screen_resume(self) -> None:
        """Back from the stage: there are new takes."""
        if self.record is not None:
            self.read(after=True)

    def on_resize(self) -> None:
        """The plots are as wide as there is room."""
        self.set_class(self.size.width < NARROW, "narrow")
        self.set_class(self.size.width >= WIDE, "wide")
        self.query_one("#keys", Static).update(hints(PROGRESS, self.world.keys, max(self.size.width - 2, 20)))
        self._list()
        self._draw()

    # Reading, away from the screen -------------------------------------------------------------

    @work(thread=True, exclusive=True, group="record")
    def read(self, after: bool = False) -> None:
        """Read the ledger; `after` what the scribe has been told by now is written."""
        app, scribe = self.app, self.coach.scribe
        try:
            if after:
                scribe.wait()
            record = Record(self.world)
        except CoachError as error:
            hand_over(app, self._say, str(error))
            return
        hand_over(app, self._read, record)

    def _read(self, record: Record) -> None:
        self.record, self.sheets = record, {}
        week = sum(minutes for _, minutes in record.minutes[-7:])
        count = len(record.standings)
        words = f"Progress · {count} drill{'' if count == 1 else 's'} played · {told_minutes(week)} in seven days"
        self.query_one("#title", Static).update(words)
        self._list()
        self._draw()

    @work(thread=True, exclusive=True, group="sheet")
    def study(self, record: Record, one: Standing) -> None:
        """Work out one drill's sheet."""
        app = self.app
        made = record.sheet(one)
        hand_over(app, self._studied, record, made)

    def _studied(self, record: Record, made: Sheet) -> None:
        if record is self.record:
            self.sheets[made.standing.drill.id] = made
            self._draw()

    # What is shown -----------------------------------------------------------------------------

    @property
    def chosen(self) -> Standing | None:
        """The drill the list is at."""
        at = self.query_one("#list", OptionList).highlighted
        stands = self.record.standings if self.record is not None else []
        return stands[at] if at is not None and at < len(stands) else None

    def _list_width(self) -> int:
        width = self.size.width
        return LIST_NARROW if width < NARROW else LIST_WIDE if width >= WIDE else LIST_USUAL

    def _list(self) -> None:
        if self.record is None:
            return
        listed = self.query_one("#list", OptionList)
        at = listed.highlighted or 0
        width = self._list_width() - 2
        stands = self.record.standings
        listed.clear_options()
        listed.add_options([Option(Text(list_line(one, width), no_wrap=True)) for one in stands])
        listed.highlighted = min(at, len(stands) - 1) if stands else None

    def _room(self) -> Room:
        return Room(max(self.size.width - self._list_width() - 3, 24), max(self.size.height - 2, 10), glyphs_here())

    def _draw(self) -> None:
        if self.record is None:
            return
        one = self.chosen
        if one is None:
            begin = first_key(action("begin"), self.world.keys)
            self._say(f"Nothing was played yet. Today, {begin} begins.")
            return
        sheet = self.sheets.get(one.drill.id)
        if sheet is None:
            self._say(one.drill.title)
            self.study(self.record, one)
            return
        lines = drill_lines(sheet, self.record.minutes, self.record.standings, self.view, self._room())
        self.query_one("#sheet", Static).update(self._painted(lines))

    def _painted(self, lines: list[Line]) -> Text:
        """Lines with their styles; what they say needs no colour."""
        colours = self.app.theme_variables
        glyphs = glyphs_here()
        # Behind the half of a line's cell that stays empty the band goes on: its light sign covers about a quarter.
        behind = Color.parse(colours["background"]).blend(Color.parse(colours["secondary"]), 0.25).hex
        text = Text(no_wrap=True, end="")
        above = ""
        for kind, line in lines:
            start = len(text)
            text.append(line + "\n")
            if kind == HEADING:
                text.stylize("bold", start, start + len(line))
            elif kind in (PLOT, FIGURE):
                solid, light = f"{glyphs.upper}{glyphs.lower}{glyphs.full}", f"{glyphs.band}{glyphs.fading}"
                for place, cell in enumerate(line, start):
                    if cell in solid or cell in glyphs.heights[1:]:
                        inside = above[place - start : place - start + 1] == glyphs.band
                        band = f" on {behind}" if kind == PLOT and inside else ""
                        text.stylize(colours["primary"] + band, place, place + 1)
                    elif cell in light:
                        text.stylize(colours["secondary"], place, place + 1)
                    elif cell == glyphs.mark:
                        text.stylize(f"bold {colours['error']}", place, place + 1)
            above = line
        return text

    def _say(self, sentence: str) -> None:
        self.query_one("#sheet", Static).update("\n".join(wrap(sentence, self._room().width)))

    def on_option_list_option_highlighted(self) -> None:
        """Another drill is chosen."""
        self._draw()

    def on_option_list_option_selected(self) -> None:
        """Enter on the list, or a click."""
        self.action_play()

    # Keys --------------------------------------------------------------------------------------

    def action_view(self, by: int) -> None:
        """Another side of the drill, where not all fit."""
        names = list(VIEWS)
        self.view = names[(names.index(self.view) + by) % len(names)]
        self._draw()

    def _block(self, one: Standing) -> Block:
        from coach.picking.layers import FULL
        from coach.plan.block_tempo import span
        from coach.plan.planner import Block
        from coach.skill.history import past_of

        drill = one.drill
        past = past_of(self.record.takes[drill.id]) if self.record is not None else None
        aim = span(drill, past, FULL, False, one.steady)
        return Block(
            "play", drill.id, drill.title, REMEDY_MINUTES, aim.low, aim.high, FULL, (aim.why,), drill.step_share
        )

    def action_play(self) -> None:
        """On the stage with it."""
        one = self.chosen
        if one is not None:
            self.coach.practise((self._block(one),))

    def action_remedy(self) -> None:
        """Take up the remedy that is proposed, or go on with the one under way, and play it at once."""
        from coach.log.notes import NoteKind
        from coach.skill.remedies import REST, SHAPE, WORDS, note_text

        one = self.chosen
        sheet = self.sheets.get(one.drill.id) if one is not None else None
        if one is None or sheet is None:
            return
        found = sheet.finding
        if found.remedy is None:
            self.notify("There is no remedy to take up here.", markup=False)
            return
        if not found.under_way:
            text, at = note_text(one.drill.id, found.remedy, found.what_for), self.world.now()
            self.coach.scribe.write(lambda ledger: ledger.add_note(NoteKind.REMEDY_CHOSEN, text, None, at))
        if found.remedy == REST:
            self.notify(f"{one.drill.title}: {WORDS[REST]}.", markup=False)
            self.read(after=True)
        elif found.remedy == SHAPE:
            self.coach.open_desk()
        else:
            try:
                block = self._remedy_block(one, sheet)
            except CoachError as error:
                self.notify(str(error), severity="error", markup=False)
                return
            self.coach.practise((block,))

    def _remedy_block(self, one: Standing, sheet: Sheet) -> Block:
        """The block of a remedy that is played. Raises CoachError."""
        from coach.plan.remedy_turns import shape_turn

        return shape_turn(self._block(one), one.drill, sheet.finding, self.world.library)

    def action_drop(self) -> None:
        """Drop the remedy under way."""
        from coach.log.notes import NoteKind
        from coach.skill.remedies import note_text

        one = self.chosen
        sheet = self.sheets.get(one.drill.id) if one is not None else None
        course = sheet.finding.course if sheet is not None and sheet.finding.under_way else None
        if course is None:
            self.notify("No remedy is under way here.", markup=False)
            return
        text, at = note_text(course.drill, course.remedy, course.what_for), self.world.now()
        at = max(at, course.since.astimezone(at.tzinfo) + timedelta(microseconds=1))
        self.coach.scribe.write(lambda ledger: ledger.add_note(NoteKind.REMEDY_DROPPED, text, None, at))
        self.read(after=True)

    def action_back(self) -> None:
        """Back to today."""
        self.dismiss()
