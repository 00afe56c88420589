"""The arrangements of a song, bar by bar: what was proposed and why, changed by hand and heard at once.

A song without any gets two proposals when the page opens. Every change is written into the song's file at once (a
shipped song is copied to the player's first) and can be taken back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.binding import BindingType

from coach.errors import CoachError
from coach.guitar.standins import find_standins
from coach.music.notes import read_range
from coach.picking.layers import LAYERS, next_layer
from coach.screens.shared.actions import ARRANGING, bindings
from coach.screens.shared.finder import Ask, Finder
from coach.screens.shared.thread_results import stands
from coach.screens.songs.arranging_text import key_options, rows_of
from coach.screens.songs.arranging_view import SPANS, ArrangingView, writable
from coach.screens.songs.song_draft import Draft, Drafted, NotDrafted
from coach.shelf import hand_of
from coach.song.arrangement import FULL, PLAIN, Arrangement, pattern_under
from coach.song.arranging.overrides import (
    ALL,
    PART,
    SCOPES,
    as_written,
    can_be_written,
    carried,
    freed,
    with_pattern,
    with_shape,
    with_stand_in,
)
from coach.song.chart import Song
from coach.song.files.edit_song import set_arrangement

if TYPE_CHECKING:
    from coach.guitar.grip import Grip
    from coach.guitar.key_finder import KeyChoice
    from coach.picking.pattern import Pattern
    from coach.song.piece import PieceBar

SLOWEST, FASTEST = 30, 240
USUAL_VOICE = "A2-D4"
ON_TOP = "on the top strings"


class ArrangingPage(ArrangingView):
    """See the module's text."""

    HELP_FIRST: ClassVar[str] = "An arrangement"
    BINDINGS: ClassVar[list[BindingType]] = bindings(ARRANGING)

    def on_mount(self) -> None:
        """Work out what is there, or propose it."""
        if self.arrangement is not None:
            self._take_tempo()
            self.think()
        else:
            self.say("proposing two arrangements ...")
            self.make_proposals((PLAIN, FULL), keep=True)

    # Changing ----------------------------------------------------------------------------------

    def _take(self, way: Arrangement, *, trying: bool = False) -> None:
        """Another arrangement in place of the one of its name: shown, heard and written."""
        way = as_written(way)
        if not trying:
            self.stand_ins = None
        self.song = replace(self.song, arrangements={**self.song.arrangements, way.name: way})
        self.draft.change(lambda text: set_arrangement(text, way), f"arrangement {way.name}")
        self.say("")
        self.think()
        self.show()

    def on_drafted(self, message: Drafted) -> None:
        """It is written; what came of undoing is taken over."""
        if message.note:
            self.say(message.note)
        newer = message.song
        if self.draft.more:
            return
        if newer.id != self.song.id or replace(newer, own=True) != replace(self.song, own=True):
            self._retake(newer)
        else:
            self.song = newer

    def _retake(self, song: Song) -> None:
        """The song as it is in the file now."""
        place = self.row.place
        if replace(song, arrangements={}, own=True) != replace(self.song, arrangements={}, own=True):
            self.pieces = {}  # the chart is another one
        self.song, self.rows = song, rows_of(song)
        places = [row.place for row in self.rows]
        first = next((k for k, row in enumerate(self.rows) if row.bar == 0), 0)
        self.at = places.index(place) if place in places else first
        if self.in_hand not in song.arrangements:
            self.in_hand = next(iter(song.arrangements), "")
        self.stand_ins = None
        self.pieces = {name: known for name, known in self.pieces.items() if name in song.arrangements}
        self.think()
        self.show()

    def on_not_drafted(self, message: NotDrafted) -> None:
        """Why it could not be."""
        self.say(message.sentence)
        if not message.kept and message.key:  # what is shown must be what is written
            self._retake(self.world.songs.find(self.song.id))

    def on_screen_resume(self) -> None:
        """The chart may have been changed meanwhile."""
        newer = self.world.songs.songs.get(self.song.id)
        if newer is not None and newer != self.song and not self.draft.busy:
            try:
                self.draft = Draft(self, self.world, self.world.songs.path_of(newer.id), own=newer.own)
            except CoachError as error:
                self.say(str(error))
                return
            self._retake(newer)
            if not newer.arrangements:
                self.make_proposals((PLAIN, FULL), keep=True)

    @work(thread=True, exclusive=True, group="propose")
    def make_proposals(
        self,
        names: tuple[str, ...],
        *,
        keep: bool,
        melody: bool | None = None,
        place: KeyChoice | None = None,
    ) -> None:
        """Propose these arrangements, away from the screen, and write them into the song.

        keep    what was said by hand stays
        melody  the tune on the top strings; None for as it is
        place   the key and capo; None for what serves best
        """
        from coach.song.arranging.arranger import propose, tune_range

        song, world = self.song, self.world
        voice = self.voice if tune_range(song) is not None else None
        made = []
        try:
            for name in names:
                old = song.arrangements.get(name)
                fresh = propose(
                    song, world.library.patterns, world.book, hand_of(world.settings),
                    tier=self._tier(name), name=name, voice=voice if place is None else None, place=place,
                    melody=_has_melody(old) if melody is None else melody, early=bool(old and old.early),
                )  # fmt: skip
                made.append(as_written(carried(old, fresh, song.key) if old is not None and keep else fresh))
        except CoachError as error:
            self.app.call_from_thread(self.say, str(error))
            return
        self.app.call_from_thread(self._proposed, made)

    def _tier(self, name: str) -> str:
        """The tier of an arrangement: by its name, else by how fine its pattern is."""
        if name in (PLAIN, FULL):
            return name
        way = self.song.arrangements.get(name)
        pattern = self.world.library.patterns.get(way.way.pattern) if way is not None else None
        return FULL if pattern is not None and pattern.slots_per_beat > 2 else PLAIN

    def _proposed(self, made: list[Arrangement]) -> None:
        if not stands(self):
            return
        self.song = replace(self.song, arrangements={**self.song.arrangements, **{way.name: way for way in made}})
        self.in_hand = self.in_hand if self.in_hand in self.song.arrangements else made[0].name

        def change(text: str) -> str:
            for way in made:
                text = set_arrangement(text, way)
            return text

        self.draft.change(change, "proposal")
        self.stand_ins = None
        self._take_tempo()
        self.say(f"proposed: {' and '.join(way.name for way in made)}")
        self.think()
        self.show()

    # Keys: choosing ----------------------------------------------------------------------------

    def _patterns(self) -> list[Pattern]:
        meter = self._meter()
        return [p for p in self.world.library.patterns.values() if p.meter == meter]

    def _with_pattern(self, name: str) -> None:
        way = self.arrangement
        if way is None:
            return
        pattern = self.world.library.patterns[name]
        if self.scope == ALL and pattern.meter != self.song.meter:
            self.say(f"{pattern.title} is in {pattern.meter} and the song in {self.song.meter}: choose it for the part")
            return
        self._take(with_pattern(way, self.scope, self.row.part, self.row.bar, str(self.chord or "N"), name))

    def action_pattern(self) -> None:
        """Choose from the list."""
        way = self.arrangement
        if way is None:
            return
        here = pattern_under(way, self.row.part, self.row.bar, str(self.chord or "N"))
        options = [(p.id, f"{p.title:<28} {', '.join(p.tags)}") for p in self._patterns()]
        more = {p.id: p.about for p in self._patterns()}

        def chosen(name: str | None) -> None:
            if name is not None:
                self._with_pattern(name)

        where = self._where()
        self.app.push_screen(Finder(f"A pattern in {self._meter()} for {where}:", options, here, more), chosen)

    def _where(self) -> str:
        row, chord = self.row, self.chord or "N"
        said = {SCOPES[0]: f"bar {row.bar + 1} of {row.part}", SCOPES[1]: f"{chord} in {row.part}", PART: row.part}
        return said.get(self.scope, "the whole song")

    def action_step(self, by: int) -> None:
        """The next pattern of this meter."""
        names = [p.id for p in self._patterns()]
        way = self.arrangement
        if way is None or not names:
            return
        here = pattern_under(way, self.row.part, self.row.bar, str(self.chord or "N"))
        at = names.index(here) + by if here in names else 0
        self._with_pattern(names[at % len(names)])

    def action_shape(self, by: int) -> None:
        """Another shape of the chord looked at."""
        way, (option, options) = self.arrangement, self._option()
        if way is None or not options:
            return
        at = min(max(option + by, 0), len(options) - 1)
        if at != option:
            place = (self.row.part, self.row.bar, str(self.chord))
            self._take(with_shape(way, self.scope, *place, options[at].shape))

    def action_stand_in(self) -> None:
        """The next stand-in; after the last the chord itself again."""
        way, chord = self.arrangement, self.chord
        if way is None or chord is None:
            return
        if self.stand_ins is None:
            option, options = self._option()
            key = way.key or self.song.key
            found = find_standins(
                chord, hand_of(self.world.settings), capo=way.capo,
                instead_of=options[option] if option >= 0 else None, before=self._before(), scale=key.scale,
            )  # fmt: skip
            found = tuple(one for one in found if can_be_written(one.grip.shape) and self._kept(one.recipe))
            if not found:
                self.say(f"nothing easier that still tells {chord} was found")
                return
            self.stand_ins = (way, found, -1)
        base, found, number = self.stand_ins
        number += 1
        if number >= len(found):
            self._take(base)
            return
        self.stand_ins = (base, found, number)
        one = found[number]
        self._take(with_stand_in(base, self.scope, self.row.part, str(chord), one.grip, one.recipe), trying=True)
        if self.scope != ALL:
            self.say(f"a stand-in holds for the part: {chord} in {self.row.part}")

    def _before(self) -> Grip | None:
        """What the hand holds before this chord in the part, None at its beginning."""
        way = self.arrangement
        if way is None:
            return None
        bars = [bar for (part, number), bar in self.played.items() if part == self.row.part and number <= self.row.bar]
        holds = [(bar.part_bar, hold) for bar in bars for hold in bar.held.holds]
        mine = sum(1 for number, _ in holds if number < self.row.bar) + self.chord_at
        hold = holds[mine - 1][1] if 0 < mine <= len(holds) else None
        if hold is None or hold.chord is None or hold.shape is None:
            return None
        options = writable(hold.chord, hand_of(self.world.settings), way.capo)
        return next((grip for grip in options if grip.shape.frets == hold.shape.frets), None)

    def _kept(self, recipe: str) -> bool:
        """Whether the chord whose shape a recipe keeps is in the song; without a recipe there is none to keep."""
        return not recipe or recipe.partition(":")[0] in {name for bar in self.played.values() for name in _names(bar)}

    def action_free(self) -> None:
        """Nothing said by hand there."""
        way = self.arrangement
        if way is not None:
            self._take(freed(way, self.scope, self.row.part, self.row.bar, str(self.chord or "N")))

    def action_singing(self, by: int) -> None:
        """Another layer under the words."""
        way = self.arrangement
        if way is not None:
            layers = self.pieces[self.in_hand][1].layers if self.in_hand in self.pieces else tuple(LAYERS)
            layer = next_layer(layers, way.singing if way.singing in layers else layers[0], by)
            self._take(replace(way, singing=layer))

    def action_early(self) -> None:
        """One bar early, or with the words."""
        way = self.arrangement
        if way is not None:
            self._take(replace(way, early=not way.early))

    def action_melody(self) -> None:
        """The tune on the top strings, or not."""
        if self.arrangement is not None:
            self.say("proposing ...")
            self.make_proposals((self.in_hand,), keep=True, melody=not _has_melody(self.arrangement))

    def action_propose(self, keep: bool) -> None:
        """Anew; both tiers where there is none."""
        self.say("proposing ...")
        self.make_proposals((self.in_hand,) if self.arrangement is not None else (PLAIN, FULL), keep=keep)

    def action_voice(self) -> None:
        """Both tiers in a key for the voice."""
        from coach.song.arranging.arranger import tune_range

        given = self.world.settings.voice or USUAL_VOICE

        def told(text: str | None) -> None:
            if text is None:
                return
            try:
                self.voice = read_range(text) if text.strip() else None
            except CoachError as error:
                self.say(str(error))
                return
            self.world.change(voice=text.strip())
            if self.voice is not None and tune_range(self.song) is None:
                self.say("where the tune lies is not known, so no key suits the voice for sure: give the chart a tune")
                return
            self.say("proposing ...")
            names = tuple(name for name in self.song.arrangements) or (PLAIN, FULL)
            self.make_proposals(names, keep=True)

        self.app.push_screen(Ask("What you sing in comfort, lowest and highest pitch:", given), told)

    @work(thread=True, exclusive=True, group="keys")
    def action_key(self) -> None:
        """Rank the keys away from the screen, then choose."""
        from coach.guitar.key_finder import find_keys
        from coach.song.arranging.arranger import tune_range

        song = self.song
        tune = tune_range(song) if self.voice else None
        bars = [[c for _, c in bar.chords] for name in song.order for bar in song.parts[name].bars]
        try:
            found = find_keys(
                bars, song.key, hand_of(self.world.settings),
                melody=tune, voice=self.voice if tune else None,
            )  # fmt: skip
        except CoachError as error:
            self.app.call_from_thread(self.say, str(error))
            return
        if self.voice is None:  # what sounds as it is charted comes first
            found = tuple(sorted(found, key=lambda place: place.sounding_key != song.key))
        self.app.call_from_thread(self._choose_key, found)

    def _choose_key(self, found: tuple[KeyChoice, ...]) -> None:
        way = self.arrangement
        if way is None or not stands(self):
            return

        def chosen(number: str | None) -> None:
            if number is not None:
                self.say("proposing ...")
                self.make_proposals(tuple(self.song.arrangements), keep=True, place=found[int(number)])

        now = next(
            (n for n, p in enumerate(found) if p.shape_key == (way.key or self.song.key) and p.capo == way.capo), 0
        )
        question = "Key of the shapes, capo, sounding key, points of 100; for all tiers:"
        more = {str(number): "; ".join(place.why) for number, place in enumerate(found)}
        self.app.push_screen(Finder(question, key_options(found), str(now), more), chosen)

    def action_tempo(self, by: int) -> None:
        """Slower or faster, here only."""
        self.at_tempo(min(max(self.bpm + by, SLOWEST), FASTEST))
        self.show()

    def action_undo(self) -> None:
        """Take back."""
        self.draft.undo()

    def action_redo(self) -> None:
        """Again."""
        self.draft.redo()

    # Keys: leaving -----------------------------------------------------------------------------

    async def action_stage(self) -> None:
        """To the stage: the part, or the whole song."""
        from coach.session.run_setup import free_block

        if self.arrangement is None:
            return
        await self.draft.idle()
        self.silence()
        part = "" if self.span == SPANS[2] else f"/part/{self.row.part}"
        try:
            block = free_block(self.world, f"{self.song.id}/{self.in_hand}{part}", None, sing=False)
        except CoachError as error:
            self.say(str(error))
            return
        self.coach.practise((block,))

    async def action_chart(self) -> None:
        """Change the chart."""
        await self._go(lambda: self.coach.open_chart(self.song.id))

    async def action_export(self) -> None:
        """Write files of it."""
        await self._go(lambda: self.coach.open_export(f"{self.song.id}/{self.in_hand}"))

    async def _go(self, away: Callable[[], None]) -> None:
        await self.draft.idle()
        self.silence()
        away()

    async def action_back(self) -> None:
        """Back; all is written."""
        await self.draft.idle()
        self.silence()
        self.dismiss()


def _names(bar: PieceBar) -> set[str]:
    """The chords that are held in a bar."""
    return {str(hold.chord) for hold in bar.held.holds if hold.chord}


def _has_melody(way: Arrangement | None) -> bool:
    """Whether the tune lies on the top strings."""
    return way is not None and any(ON_TOP in line for line in way.why)

