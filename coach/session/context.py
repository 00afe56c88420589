"""What the screens need of the world outside, in one value, so that a test can give them another.

Nothing is read and little is imported until it is asked for: the first page is painted before the patterns
and the ledger have been looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from coach import places, shelf
from coach.errors import BadInput, CoachError
from coach.files.writing import clear_away
from coach.log.ledger_status import glance
from coach.plan.wishes import Wishes
from coach.session.rest_watch import RestWatch
from coach.settings import Settings, read_settings, write_settings

if TYPE_CHECKING:
    from coach.drills.drill_id import DrillId
    from coach.drills.pattern_drills import Drill
    from coach.guitar.grip import Hand
    from coach.guitar.open_shapes import ShapeBook
    from coach.handout import Chosen
    from coach.log.takes import Take
    from coach.picking.pattern_library import Library
    from coach.plan.planner import Block, Plan
    from coach.session.conductor import Loop
    from coach.session.ledger_writer import Scribe
    from coach.skill.steady_tempo import SteadyTempo
    from coach.song.files.song_shelf import SongShelf
    from coach.sound.clock import Clock
    from coach.sound.device import Speaker


def _usual_speaker(buffer_ms: int) -> Speaker:
    from coach.sound.device import open_speaker

    return open_speaker(buffer_ms=buffer_ms)


def _now() -> datetime:
    return datetime.now().astimezone()


class World:
    """Files, time and sound as the screens see them.

    library, book   None: the shipped and the player's own, read when first asked for
    clock           for tests: the time of a silent run
    problems        sentences about settings that could not be used
    keys            the keys the player moved, without those that cannot be had; the app sets them
    rest_watch      when a rest was proposed last
    """

    def __init__(
        self,
        library: Library | None,
        book: ShapeBook | None,
        settings: Settings,
        ledger_path: Path,
        settings_path: Path,
        *,
        now: Callable[[], datetime] = _now,
        speaker: Callable[[int], Speaker] = _usual_speaker,
        clock: Clock | None = None,
        problems: tuple[str, ...] = (),
    ) -> None:
        self._library = library
        self._book = book
        self._drills: tuple[Drill, ...] | None = None
        self._look = object()
        self._songs: SongShelf | None = None
        self._songs_given = False
        self._song_loop_made: tuple[DrillId, Hand, Loop] | None = None
        self._wishes: Wishes | None = None
        self._noted: datetime | None = None
        self.rest_watch = RestWatch()
        self.settings = self._written = settings
        self.ledger_path = ledger_path
        self.settings_path = settings_path
        self.now = now
        self.speaker = speaker
        self.clock = clock
        self.keys: Mapping[str, str] = {}
        self.problems = problems

    @classmethod
    def here(cls) -> World:
        """The player's own world."""
        clear_away(places.home(), places.patterns(), places.songs())
        found = read_settings(places.settings())
        seen = glance(places.ledger())
        problems = (*found.problems, seen) if seen else found.problems
        return cls(None, None, found.settings, places.ledger(), places.settings(), problems=problems)

    @property
    def library(self) -> Library:
        """All patterns."""
        if self._library is None:
            self._library = shelf.library()
        return self._library

    @library.setter
    def library(self, library: Library) -> None:
        self._library = library
        self.forget_drills()

    @property
    def book(self) -> ShapeBook:
        """All open shapes."""
        if self._book is None:
            self._book = shelf.shapes()
        return self._book

    @property
    def songs(self) -> SongShelf:
        """All songs."""
        if self._songs is None:
            self._songs = shelf.songs()
        return self._songs

    @songs.setter
    def songs(self, songs: SongShelf) -> None:
        self._songs, self._songs_given = songs, True
        self._song_loop_made = None
        self.forget_drills()

    @property
    def drills(self) -> tuple[Drill, ...]:
        """Patterns, and the songs taken up, in the order in which they are begun; without a ledger that can be read,
        which would tell the songs, patterns alone.
        """
        found, look = self._drills, self._look
        if found is None:
            songs = self._songs.songs.values() if self._songs is not None and self._songs_given else None
            try:
                found = shelf.drills_here(self.library, self.ledger_path, songs)
            except CoachError:
                from coach.drills.repertoire import make_pattern_drills

                found = make_pattern_drills(self.library)
            if look is self._look:
                self._drills = found
        return found

    def reread(self) -> None:
        """Look for pattern and song files again."""
        self.library = shelf.library()
        self.reread_songs()

    def reread_songs(self) -> None:
        """Look for song files again, and at what is practised."""
        self._songs, self._songs_given = None, False
        self._song_loop_made = None
        self.forget_drills()

    def forget_drills(self) -> None:
        """What is practised may have changed: look again when it is asked for."""
        # A thread that is looking now must not keep what it finds.
        self._drills, self._look = None, object()

    def takes(self) -> list[Take]:
        """All takes of the ledger; none when it has not been begun. Raises CoachError."""
        return shelf.takes(self.ledger_path)

    def heard(self) -> set[str]:
        """The drills that need not be heard before they are played: those with a take, and those listened to today.

        Raises CoachError.
        """
        return shelf.heard(self.now().date(), self.ledger_path)

    def steadies(self) -> dict[str, SteadyTempo]:
        """The steady tempos known by now, by drill. Raises CoachError."""
        return shelf.steadies(self.drills, self.now().date(), self.ledger_path) or {}

    def minutes_without_rest(self) -> float:
        """Minutes played up to now without a rest, by the ledger. Raises CoachError."""
        return shelf.playing(self.library, self.now(), self.ledger_path).run()

    def after_take(self, drill_id: str, before: SteadyTempo | None, places: bool = True) -> tuple[str, ...]:
        """What the take just played has shown, in a few lines; without `places` nothing of where stumbles gather.

        Raises CoachError.
        """
        from coach.log.ledger import Ledger
        from coach.plan.checkup import findings
        from coach.skill.remedies import describe_take

        drill, today = self.drill(drill_id), self.now().date()
        pieces = shelf.pieces(self.library, self.settings)
        with Ledger(self.ledger_path) as ledger:
            asked = [drill] if places else []
            found = findings(ledger, asked, self.library, today, curves=False, piece_of=pieces)
        return describe_take(before, self.steadies().get(drill_id), found.get(drill_id))

    def plan(self, minutes: int, takes: Sequence[Take] | None = None) -> Plan:
        """Today's plan, from the ledger's takes unless others are given. Raises CoachError."""
        now = self.now()
        if takes is not None:
            return shelf.plan_of(self.drills, takes, self.settings, now, minutes)
        self.forget_drills()  # a song played for the first time is taken up by that
        made, self._wishes = shelf.plan_here(
            self.drills, self.library, self.settings, now, minutes, self.ledger_path
        )
        return made

    @property
    def wishes(self) -> Wishes:
        """What the player wished of today's plan when it was last made."""
        return self._wishes or Wishes()

    def note(self, kind: str, text: str = "") -> None:
        """Write a note into the ledger, later than the last one. Takes a disk's time; raises CoachError."""
        from coach.log.ledger import Ledger

        at = self.now()
        self._noted = at if self._noted is None else max(at, self._noted + timedelta(microseconds=1))
        with Ledger(self.ledger_path) as ledger:
            ledger.add_note(kind, text, None, self._noted)

    def drill(self, drill_id: str) -> Drill:
        """A drill by id, a song's, or a corner of one. Raises BadInput."""
        from coach.drills.corners import corner
        from coach.drills.drill_id import DrillId
        from coach.drills.song_drills import find_song_drill

        for drill in self.drills:
            if drill.id == drill_id:
                return drill
        small = corner(drill_id, self.drills, self.library)
        if small is not None:
            return small
        asked = DrillId.parse(drill_id)
        if asked.names_song_drill:
            return find_song_drill(asked, self.songs, self.library.patterns)
        raise BadInput(f"there is no drill '{drill_id}'", mend="`coach drills` lists them")

    def loop(self, block: Block, chords: str | None = None) -> Loop:
        """What a block plays. Raises CoachError."""
        from coach.drills.drill_id import DrillId
        from coach.music.chords import read_bars
        from coach.picking.realise import hold_bars
        from coach.session.conductor import make_loop

        asked = DrillId.parse(block.drill or "")
        if asked.names_song_drill:
            return self._song_loop(asked)
        drill = self.drill(block.drill or "")
        pattern = self.library.find(drill.pattern)
        hand = shelf.hand_of(self.settings)
        return make_loop(pattern, hold_bars(read_bars(chords or drill.chords), pattern.meter, self.book, hand=hand))

    def _song_loop(self, asked: DrillId) -> Loop:
        """What a song's drill plays. Raises CoachError."""
        from coach.session.song_loops import loop_of

        hand, made = shelf.hand_of(self.settings), self._song_loop_made
        if made is not None and made[:2] == (asked, hand):
            return made[2]  # the next block is often the same again
        loop = loop_of(asked, self.songs.find(asked.song), self.library.patterns, self.book, hand)
        self._song_loop_made = (asked, hand, loop)
        return loop

    def chosen_song(self, name: str) -> Chosen:
        """A song by its id, or `song/arrangement`, as it is played: to be printed or sounded. Raises CoachError."""
        from coach.handout import Chosen
        from coach.song.perform import arrangement_of, perform

        id_, _, which = name.partition("/")
        song = self.songs.find(id_)
        way = arrangement_of(song, which)
        piece = perform(song, way, self.library.patterns, self.book, hand=shelf.hand_of(self.settings))
        return Chosen(piece, song=song, arrangement=way)

    def chosen_pattern(self, name: str) -> Chosen:
        """A pattern over its drill's chords at its drill's target tempo. Raises CoachError."""
        from coach.handout import Chosen
        from coach.music.chords import read_bars
        from coach.picking.realise import hold_bars
        from coach.song.piece import pattern_piece

        pattern, drill = self.library.find(name), self.drill(name)
        held = hold_bars(read_bars(drill.chords), pattern.meter, self.book, hand=shelf.hand_of(self.settings))
        return Chosen(pattern_piece(pattern, held, Fraction(drill.target_bpm)), pattern=pattern)

    def change(self, **values: object) -> None:
        """Change settings for now."""
        self.settings = replace(self.settings, **values)  # type: ignore[arg-type]

    def save(self) -> str:
        """Write down the settings that were changed here; "" or the sentence that says why that could not be."""
        settings = self.settings
        try:
            write_settings(settings, self.settings_path, before=self._written)
        except CoachError as error:
            return str(error)
        self._written = settings
        return ""

    def scribe(self, on_trouble: Callable[[str], None]) -> Scribe:
        """Someone who writes to the ledger."""
        from coach.session.ledger_writer import Scribe

        return Scribe(self.ledger_path, on_trouble)
