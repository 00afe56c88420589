"""A loop, a run and a conductor made by hand for the tests of the screens."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from coach import places
from coach.guitar.open_shapes import read_shape_book
from coach.music.chords import read_bars
from coach.music.clicks import ClickWay
from coach.music.ramps import Earned, Ramp
from coach.picking.pattern import Pattern
from coach.picking.pattern_file import parse_pattern
from coach.picking.realise import hold_bars
from coach.session.conductor import Conductor, Loop, make_loop
from coach.session.run import PassDone, Run

BOOK = read_shape_book(places.shipped("shared") / "shapes.toml")

# Thumb on every beat, middle and index between, a pinch on one: every kind of layer but the tune's.
LANDING = """
title = "Landing stage"
about = "Thumb on every beat, two fingers between."
meter = "4/4"
slots = 8
feel = {feel}
[[bars]]
p = "r . a . f . a ."
i = ". . . 3 . . . 3"
m = ". 2 . . . (2) . ."
a = "1 . . . 1! . . ."
"""


def landing(feel: str = '"straight"') -> Pattern:
    """The pattern above."""
    return parse_pattern(LANDING.format(feel=feel), "landing-stage")


def loop_of(pattern: Pattern | None = None, chords: str = "C | Am | F | G") -> Loop:
    """The pattern round some chords."""
    pattern = pattern or landing()
    return make_loop(pattern, hold_bars(read_bars(chords), pattern.meter, BOOK))


def conductor(
    loop: Loop | None = None,
    ramp: Ramp | None = None,
    click: ClickWay | None = None,
    guide: str = "on",
    **more: object,
) -> Conductor:
    """A conductor over a run of the loop, earned from 100 to 150 unless told."""
    loop = loop or loop_of()
    ramp = ramp or Earned(Fraction(100), Fraction(150))
    run = Run(loop.piece.bars, ramp, loop.layers, **more)  # type: ignore[arg-type]
    return Conductor(run, loop, click or ClickWay(), guide)


class Player:
    """Plays a conductor as engine and screen do together: bars mixed `ahead`, told as they sound, mixed again."""

    def __init__(self, conductor: Conductor, ahead: int = 1) -> None:
        self.conductor = conductor
        self.ahead = ahead
        self.number = 0
        self.mixed = 0
        self.over = False
        self.told: list[PassDone] = []
        self._mix()

    def _mix(self) -> None:
        """Mix until `ahead` bars lie ready after the one that sounds, or the end."""
        while not self.over and self.mixed <= self.number + self.ahead:
            if self.conductor.source(self.mixed) is None:
                self.over = True
            else:
                self.mixed += 1

    def refresh(self, taken: int = 0) -> None:
        """Bars after the one that sounds are asked for again, but for `taken` of them that are on their way."""
        self.mixed = min(self.mixed, self.number + 1 + taken)
        self.over = False
        self._mix()

    def bar(self) -> bool:
        """The bar line: the next bar sounds, another is mixed, the screen is told. False at the end."""
        self.told += self.conductor.reach(self.number)
        if self.over and self.number + 1 >= self.mixed:
            self.told += self.conductor.finish()
            return False
        self.number += 1
        self._mix()
        self.told += self.conductor.reach(self.number)
        return True

    def change(self, deed: Callable[[Run], object], taken: int = 0) -> None:
        """A key of the player's: the run is changed under the lock, then what was mixed is mixed again."""
        with self.conductor.lock:
            deed(self.conductor.run)
        self.refresh(taken)
