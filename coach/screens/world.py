"""What the screens need of the world outside, in one value, so that a test can give them another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from coach import places
from coach.errors import BadInput, CoachError
from coach.guitar.openshapes import ShapeBook, read_shape_book
from coach.music.chords import read_bars
from coach.picking.library import Library, read_library
from coach.picking.realise import hold_bars
from coach.practice.days import now_here
from coach.practice.drills import Drill
from coach.practice.ledger import Ledger
from coach.practice.planner import Block, Plan, plan
from coach.practice.planner import Settings as PlanSettings
from coach.practice.repertoire import drills_of
from coach.practice.takes import Take
from coach.screens.conductor import Loop, make_loop
from coach.screens.scribe import Scribe
from coach.settings import Settings, read_settings, write_settings
from coach.sound.clock import Clock
from coach.sound.device import Speaker, open_speaker


def _usual_speaker(buffer_ms: int) -> Speaker:
    return open_speaker(buffer_ms=buffer_ms)


@dataclass
class World:
    """Files, time and sound as the screens see them. `clock` is for tests: the time of a silent run."""

    library: Library
    book: ShapeBook
    settings: Settings
    ledger_path: Path
    settings_path: Path
    now: Callable[[], datetime] = now_here
    speaker: Callable[[int], Speaker] = _usual_speaker
    clock: Clock | None = None
    problems: tuple[str, ...] = ()
    drills: tuple[Drill, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.drills = drills_of(self.library)

    @classmethod
    def here(cls) -> World:
        """The player's own world."""
        found = read_settings(places.settings())
        library = read_library(places.shipped("patterns"), places.patterns())
        book = read_shape_book(places.shipped("shared") / "shapes.toml")
        return cls(library, book, found.settings, places.ledger(), places.settings(), problems=found.problems)

    def reread(self) -> None:
        """Look for pattern files again."""
        self.library = read_library(places.shipped("patterns"), places.patterns())
        self.drills = drills_of(self.library)

    def takes(self) -> list[Take]:
        """All takes of the ledger; none when it has not been begun. Raises CoachError."""
        if not self.ledger_path.exists():
            return []
        with Ledger(self.ledger_path) as ledger:
            return ledger.takes()

    def plan(self, minutes: int) -> Plan:
        """Today's plan. Raises CoachError."""
        use = PlanSettings(new_a_day=self.settings.new_a_day, turn_minutes=self.settings.turn_minutes)
        return plan(self.drills, self.takes(), self.now(), minutes, use)

    def drill(self, drill_id: str) -> Drill:
        """A drill by id. Raises BadInput."""
        for drill in self.drills:
            if drill.id == drill_id:
                return drill
        raise BadInput(f"there is no drill '{drill_id}'", mend="`coach drills` lists them")

    def loop(self, block: Block, chords: str | None = None) -> Loop:
        """What a block plays. Raises CoachError."""
        drill = self.drill(block.drill or "")
        pattern = self.library.find(drill.pattern)
        return make_loop(pattern, hold_bars(read_bars(chords or drill.chords), pattern.meter, self.book))

    def change(self, **values: object) -> None:
        """Change settings for now."""
        self.settings = replace(self.settings, **values)  # type: ignore[arg-type]

    def save(self) -> str:
        """Write the settings down; "" or the sentence that says why that could not be."""
        try:
            write_settings(self.settings, self.settings_path)
        except CoachError as error:
            return str(error)
        return ""

    def scribe(self, on_trouble: Callable[[str], None]) -> Scribe:
        """Someone who writes to the ledger."""
        return Scribe(self.ledger_path, on_trouble)
