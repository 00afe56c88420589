"""The bars of a song in its arrangements on the screen: walking through them, what is known of them, what is heard."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from coach.errors import CoachError
from coach.guitar.search import find_grips
from coach.guitar.standins import StandIn
from coach.music.notes import read_range
from coach.screens.shared.actions import ARRANGING, hints
from coach.screens.shared.looping_page import Hearing
from coach.screens.shared.row_view import RowView
from coach.screens.shared.thread_results import stands
from coach.screens.songs.arranging_text import (
    Played,
    Row,
    columns,
    head_line,
    held_shapes,
    reasons,
    row_line,
    rows_of,
    sum_line,
)
from coach.screens.songs.song_draft import Draft
from coach.session.conductor import Loop, song_loop
from coach.session.context import World
from coach.shelf import hand_of
from coach.song.arrangement import Arrangement
from coach.song.arranging.overrides import SCOPES, can_be_written
from coach.song.chart import Song
from coach.song.perform import chords_in_key, perform

if TYPE_CHECKING:
    from coach.guitar.grip import Grip, Hand
    from coach.music.chords import Chord
    from coach.music.meter import Meter
    from coach.song.piece import Piece

SPANS = ("this bar", "its part", "the whole song")
WIDE, TALL = 118, 34
BESIDE = 44


class ArrangingView(Hearing):
    """See the module's text."""

    AUTO_FOCUS = ""
    CSS = """
    ArrangingPage { background: $background; overflow: hidden; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #sum { height: 1; padding: 0 1; color: $secondary; text-wrap: nowrap; text-overflow: ellipsis; }
    #heads { height: 1; }
    #bars { width: 1fr; height: 1fr; }
    #beside { width: 44; height: 1fr; padding: 0 1; display: none; }
    ArrangingPage.wide #beside { display: block; }
    #shapes { height: auto; }
    #why { height: 1fr; color: $foreground 85%; }
    #under { height: 4; padding: 0 1; color: $foreground 85%; }
    ArrangingPage.tall #under { height: 7; }
    ArrangingPage.wide #under { display: none; }
    #say { height: auto; max-height: 2; padding: 0 1; color: $warning; }
    #below { height: auto; }
    ArrangingPage #tab { height: 12; display: none; }
    ArrangingPage.tall #tab { display: block; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World, song_id: str, arrangement: str = "") -> None:
        """Raises CoachError when there is no such song or its file cannot be read."""
        super().__init__(world)
        self.song: Song = world.songs.find(song_id)
        self.draft = Draft(self, world, world.songs.path_of(song_id), own=self.song.own)
        self.in_hand = arrangement or next(iter(self.song.arrangements), "")
        self.rows = rows_of(self.song)
        self.at = next((k for k, row in enumerate(self.rows) if row.bar == 0), 0)
        self.chord_at = 0
        self.scope = SCOPES[0]
        self.span = SPANS[1]
        self.voice = read_range(world.settings.voice) if world.settings.voice else None
        self.titles = {p.id: p.title for p in world.library.patterns.values()}
        self.pieces: dict[str, tuple[Arrangement, Piece, Played]] = {}
        self.stand_ins: tuple[Arrangement, tuple[StandIn, ...], int] | None = None
        self.bpm = round(self.song.tempo)

    def compose(self) -> ComposeResult:
        """The bars, and beside or under them the shapes and the reasons."""
        yield Static(id="title", markup=False)
        yield Static(id="sum", markup=False)
        yield Static(id="heads", markup=False)
        with Horizontal():
            yield RowView(id="bars")
            with Vertical(id="beside"):
                yield Static(id="shapes", markup=False)
                yield Static(id="why", markup=False)
        yield Static(id="under", markup=False)
        yield Static(id="say", markup=False)
        yield Vertical(id="below")
        yield Static(id="keys", markup=False)

    def on_resize(self) -> None:
        """Both tiers where there is room."""
        self.set_class(self.size.width >= WIDE, "wide")
        self.set_class(self.size.height >= TALL, "tall")
        self.show()
        self.call_after_refresh(self.show)

    def on_unmount(self) -> None:
        """All is saved before the page is gone."""
        self.draft.close()

    # What is looked at -------------------------------------------------------------------------

    @property
    def arrangement(self) -> Arrangement | None:
        """The one in hand."""
        return self.song.arrangements.get(self.in_hand)

    @property
    def row(self) -> Row:
        """The bar looked at."""
        return self.rows[self.at]

    @property
    def played(self) -> Played:
        """The bars of the arrangement in hand as they are played."""
        return self.pieces[self.in_hand][2] if self.in_hand in self.pieces else {}

    @property
    def chord(self) -> Chord | None:
        """The chord looked at as it is charted, in the arrangement's key."""
        way = self.arrangement
        if way is None:
            return None
        bar = self.song.parts[self.row.part].bars[self.row.bar]
        found = chords_in_key(bar, self.song.key, way.key or self.song.key)
        return found[min(self.chord_at, len(found) - 1)][1]

    def _take_tempo(self) -> None:
        way = self.arrangement
        self.bpm = round(way.tempo if way and way.tempo else self.song.tempo)

    def say(self, sentence: str) -> None:
        """One sentence."""
        if stands(self):
            self.query_one("#say", Static).update(sentence)

    def _meter(self) -> Meter:
        return self.song.parts[self.row.part].meter or self.song.meter

    # Working out -------------------------------------------------------------------------------

    @work(thread=True, exclusive=True, group="think")
    def think(self) -> None:
        """Play the arrangements through, away from the screen: those that are not known yet as they are now."""
        song, world = self.song, self.world
        hand, patterns, book = hand_of(world.settings), world.library.patterns, world.book
        names = [self.in_hand, *(name for name in song.arrangements if name != self.in_hand)]
        for name in names:
            way = song.arrangements.get(name)
            known = self.pieces.get(name)
            if way is None or (known is not None and known[0] == way):
                continue
            try:
                piece = perform(song, way, patterns, book, hand=hand)
            except CoachError as error:
                if name == self.in_hand:
                    self.app.call_from_thread(self.say, str(error))
                continue
            played = {(bar.part, bar.part_bar): bar for bar in piece.bars if bar.time == 0}
            self.app.call_from_thread(self._thought, name, way, piece, played)

    def _thought(self, name: str, way: Arrangement, piece: Piece, played: Played) -> None:
        if stands(self) and self.song.arrangements.get(name) == way:
            self.pieces[name] = (way, piece, played)
            self.show()
            if name == self.in_hand:
                self.replay()

    def show(self) -> None:
        """Draw what is known."""
        if not stands(self):
            return
        song, way, names = self.song, self.arrangement, list(self.song.arrangements)
        width = max(self.size.width, 20)
        self.query_one("#keys", Static).update(hints(ARRANGING, self.world.keys, width - 2))
        count = f" ({names.index(self.in_hand) + 1} of {len(names)})" if self.in_hand in names else ""
        self.query_one("#title", Static).update(f"{song.title}: arrangement {self.in_hand or '...'}{count}")
        if way is None:
            return
        self.query_one("#sum", Static).update(sum_line(song, way, self.bpm, self.scope, self.span))
        room = width - (BESIDE if self.has_class("wide") else 0) - 1
        cols = columns(room, len(names))
        first = min(max(names.index(self.in_hand) - cols.shown + 1, 0), len(names) - cols.shown)
        visible = names[first : first + cols.shown]
        self.query_one("#heads", Static).update(head_line(cols, visible, self.in_hand))
        shown = [(song.arrangements[n], self.pieces[n][2] if n in self.pieces else {}) for n in visible]
        rows, at, chord_at, titles = self.rows, self.at, self.chord_at, self.titles

        def draw(number: int, _: int) -> Text:
            return row_line(
                song, rows[number], shown, titles, cols, chosen=number == at, at=chord_at, in_hand=way.name
            )

        self.query_one("#bars", RowView).show(len(rows), draw, at)
        self._show_reasons(way)

    def _show_reasons(self, way: Arrangement) -> None:
        bar = self.played.get(self.row.place)
        chord = str(self.chord or "N")
        patterns = self.world.library.patterns
        trying = self._trying()
        if self.has_class("wide"):
            self.query_one("#shapes", Static).update(held_shapes(bar, self.chord_at, BESIDE - 2, self._shape_count()))
            lines = [*trying, *reasons(way, self.row, chord, patterns, BESIDE - 3)]
            self.query_one("#why", Static).update("\n".join(lines))
        else:
            width = max(self.size.width - 3, 20)
            count = [f"{chord} {self._shape_count()}"] if self._shape_count() else []
            lines = [*trying, *count, *reasons(way, self.row, chord, patterns, width)]
            self.query_one("#under", Static).update("\n".join([line for line in lines if line][:7]))

    def _shape_count(self) -> str:
        """Which of the chord's shapes it is."""
        option, options = self._option()
        return f"shape {option + 1} of {len(options)}" if options and option >= 0 else ""

    def _trying(self) -> list[str]:
        if self.stand_ins is None:
            return []
        _, found, number = self.stand_ins
        one = found[number]
        lost, gained = ", ".join(one.lost) or "nothing", ", ".join(one.gained) or "nothing"
        head = f"stand-in {number + 1} of {len(found)} ({one.kind}): {one.grip.chord} {one.grip.shape}"
        return [head, f"  lost: {lost}; gained: {gained}"]

    def _option(self) -> tuple[int, tuple[Grip, ...]]:
        """(which of them the hand has now, -1 for none; every shape of the chord looked at, easiest first)."""
        chord, way = self.chord, self.arrangement
        if chord is None or way is None:
            return -1, ()
        options = writable(chord, hand_of(self.world.settings), way.capo)
        bar = self.played.get(self.row.place)
        hold = bar.held.holds[min(self.chord_at, len(bar.held.holds) - 1)] if bar is not None else None
        frets = [grip.shape.frets for grip in options]
        shape = hold.shape if hold is not None else None
        return (frets.index(shape.frets) if shape is not None and shape.frets in frets else -1), options

    # Keys: walking -----------------------------------------------------------------------------

    def action_bar(self, by: int) -> None:
        """Another bar."""
        at = self.at + by
        while 0 <= at < len(self.rows) and self.rows[at].bar < 0:
            at += by
        if 0 <= at < len(self.rows):
            self._look_at(at, 0)

    def action_part(self, by: int) -> None:
        """The first bar of another part."""
        firsts = [k for k, row in enumerate(self.rows) if row.bar == 0]
        here = max((n for n, k in enumerate(firsts) if k <= self.at), default=0)
        if firsts:
            self._look_at(firsts[min(max(here + by, 0), len(firsts) - 1)], 0)

    def action_chord(self, by: int) -> None:
        """Another chord of the bar, on into the bars beside it."""
        count = len(self.song.parts[self.row.part].bars[self.row.bar].chords)
        if 0 <= self.chord_at + by < count:
            self._look_at(self.at, self.chord_at + by)
        elif self.at + by in range(len(self.rows)):
            before = self.at
            self.action_bar(by)
            if by < 0 and self.at != before:
                self._look_at(self.at, len(self.song.parts[self.row.part].bars[self.row.bar].chords) - 1)

    def _look_at(self, at: int, chord: int) -> None:
        if (at, chord) != (self.at, self.chord_at):
            self.stand_ins = None
        heard_elsewhere = self.span == SPANS[0] or self.rows[at].part != self.row.part
        self.at, self.chord_at = at, chord
        self.show()
        if heard_elsewhere and self.span != SPANS[2]:
            self.replay()

    def action_other(self) -> None:
        """The other arrangement."""
        names = list(self.song.arrangements)
        if len(names) > 1:
            self.in_hand = names[(names.index(self.in_hand) + 1) % len(names)]
            self.stand_ins = None
            self._take_tempo()
            self.think()
            self.show()
            self.replay()

    def action_scope(self) -> None:
        """Where the next choice holds."""
        self.scope = SCOPES[(SCOPES.index(self.scope) + 1) % len(SCOPES)]
        self.show()

    def action_span(self) -> None:
        """What is heard."""
        self.span = SPANS[(SPANS.index(self.span) + 1) % len(SPANS)]
        self.show()
        self.replay()

    # Sound -------------------------------------------------------------------------------------

    def wanted(self) -> Loop | None:
        """The bar, its part or the whole song, in the arrangement in hand."""
        known, way = self.pieces.get(self.in_hand), self.arrangement
        if known is None or way is None:
            return None
        piece = known[1]
        first, last = 0, len(piece.bars) - 1
        if self.span != SPANS[2]:
            mine = [bar.number for bar in piece.bars if bar.part == self.row.part and bar.time == 0]
            first, last = mine[0], mine[-1]
            if self.span == SPANS[0]:
                first = last = mine[self.row.bar]
        return song_loop(piece, first, last, under=way.singing, early=way.early)


@lru_cache(maxsize=64)
def writable(chord: Chord, hand: Hand, capo: int) -> tuple[Grip, ...]:
    """Every shape of a chord that a song file can hold, easiest first."""
    return tuple(grip for grip in find_grips(chord, hand, capo=capo) if can_be_written(grip.shape))
