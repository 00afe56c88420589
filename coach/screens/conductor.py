"""Where practice and sound meet: bar orders of the run become bar scores for the engine.

The engine's thread asks for bars ahead of time; the screen's tick tells which bar sounds. Both go through
one short lock, under which nothing is drawn, mixed or written.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from threading import Lock

from coach.music.clicks import ClickWay
from coach.picking.layers import ladder, thinned
from coach.picking.pattern import Pattern
from coach.picking.plucks import Pluck
from coach.picking.realise import HeldBar, realise
from coach.practice.run import COUNT, MODEL, PLAY, BarOrder, PassDone, Run
from coach.sound.score import BEAT, DOWN, BarScore, Stroke

# id -> how the screen says it
GUIDES = {"on": "thumb and fingers", "thumb": "thumb only", "fingers": "fingers only", "off": "off"}
SHORTEST_PASS_BARS = 4
# Bars that stay known after they sounded: what the tab still shows behind the cursor.
KEPT_BARS = 4


@dataclass(frozen=True)
class Loop:
    """What is played round and round: the pattern on its chords, long enough to be one pass."""

    pattern: Pattern
    held: tuple[HeldBar, ...]
    plucks: tuple[tuple[Pluck, ...], ...]
    layers: tuple[str, ...]

    @property
    def bars(self) -> int:
        """Bars in one pass."""
        return len(self.held)

    def sounding(self, bar: int, layer: str) -> tuple[Pluck, ...]:
        """The plucks of a bar that sound in `layer`."""
        return thinned(self.plucks[bar], layer)


def make_loop(pattern: Pattern, held: Sequence[HeldBar], *, capo: int = 0) -> Loop:
    """A loop of whole rounds of the chords and of the pattern's bars, at least SHORTEST_PASS_BARS long."""
    rounds = 1
    while len(held) * rounds % len(pattern.bars) or len(held) * rounds < SHORTEST_PASS_BARS:
        rounds += 1
    bars = tuple(held) * rounds
    plucks = realise(pattern, bars, capo=capo)
    by_bar: list[list[Pluck]] = [[] for _ in bars]
    for pluck in plucks:
        by_bar[pluck.bar].append(pluck)
    return Loop(pattern, bars, tuple(tuple(b) for b in by_bar), ladder(plucks))


def heard(plucks: Sequence[Pluck], guide: str) -> tuple[Pluck, ...]:
    """The plucks that the guide sounds."""
    if guide == "off":
        return ()
    if guide == "on":
        return tuple(plucks)
    return tuple(p for p in plucks if p.bass == (guide == "thumb"))


class Conductor:
    """Turns the run's orders into scores, and what sounded into finished passes."""

    def __init__(self, run: Run, loop: Loop, click: ClickWay, guide: str) -> None:
        self.run = run
        self.loop = loop
        self.click = click
        self.guide = guide
        self._lock = Lock()
        # Never changed in place: the screen reads it while the engine's thread puts another in its place.
        self._orders: Mapping[int, BarOrder | None] = {}
        self._reached = -1

    @property
    def lock(self) -> Lock:
        """Hold it while changing the run from the screen."""
        return self._lock

    def source(self, number: int) -> BarScore | None:
        """The score of bar `number`, worked out anew at each asking. Called on the engine's thread."""
        with self._lock:
            before = self._orders.get(number - 1) if number else None
            order = None if number and before is None else self.run.next_order(before)
            # Bars further ahead were built on the one replaced here.
            self._orders = {n: o for n, o in self._orders.items() if n < number} | {number: order}
            return None if order is None else self.score(order)

    def score(self, order: BarOrder) -> BarScore:
        """What sounds in a bar."""
        beats = self.run.beats
        if order.kind == COUNT:
            clicks: Sequence[int] = range(beats)
            plucks: tuple[Pluck, ...] = ()
        elif order.kind == MODEL:
            clicks = range(beats)
            plucks = self.loop.plucks[order.loop_bar]
        else:
            clicks = self.click.beats(order.number, beats)
            plucks = heard(self.loop.sounding(order.loop_bar, order.layer), self.guide)
        strokes = tuple(Stroke(Fraction(b), DOWN if b == 0 else BEAT) for b in clicks)
        return BarScore(order.number, Fraction(beats), order.bpm_from, order.bpm_to, strokes, plucks)

    def order(self, number: int) -> BarOrder | None:
        """The order of a bar as it was last mixed."""
        return self._orders.get(number)

    def reach(self, number: int) -> list[PassDone]:
        """Say that bar `number` sounds now; returns the passes that ended on the way."""
        done: list[PassDone] = []
        with self._lock:
            for step in range(self._reached + 1, number + 1):
                order = self._orders.get(step)
                if order is None:
                    break
                self._reached = step
                finished = self.run.begin(order)
                if finished:
                    done.append(finished)
            self._orders = {n: o for n, o in self._orders.items() if n >= number - KEPT_BARS}
        return done

    def finish(self) -> list[PassDone]:
        """Say that the last bar has sounded; returns the passes not yet told."""
        with self._lock:
            last = max((n for n, o in self._orders.items() if o is not None), default=-1)
        done = self.reach(last)
        with self._lock:
            final = self.run.end()
        return [*done, final] if final else done

    def stop(self) -> None:
        """Stop in the middle; the run can go on later."""
        with self._lock:
            self._orders, self._reached = {}, -1
            self.run.stop()

    def shown(self, number: int) -> tuple[int, str, str] | None:
        """(bar of the loop, layer, kind) to draw for bar `number`; one not yet ordered is guessed."""
        orders = self._orders
        order = orders.get(number)
        if order is not None:
            return order.loop_bar, order.layer, order.kind
        known = [n for n, o in orders.items() if o is not None and n < number]
        if number in orders or not known or any(o is None and n < number for n, o in orders.items()):
            return None  # before the first bar, or after the last
        last = orders[max(known)]
        assert last is not None
        ahead, layer = number - last.number, self.run.layer
        if last.kind == MODEL:
            left = self.loop.bars - 1 - last.loop_bar
            if ahead <= left:
                return last.loop_bar + ahead, last.layer, MODEL
            if ahead == left + 1:
                return 0, layer, COUNT
            return (ahead - left - 2) % self.loop.bars, layer, PLAY
        first = 0 if last.kind == COUNT else last.loop_bar + 1
        return (first + ahead - 1) % self.loop.bars, layer, PLAY
