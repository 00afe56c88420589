"""Where practice and sound meet: bar orders of the run become bar scores for the engine.

The engine's thread asks for bars ahead of time; the screen's tick tells which bar sounds. Both go through
one short lock, under which nothing is drawn, mixed or written.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import ceil
from threading import Lock

from coach.music.clicks import ClickWay
from coach.picking.layers import LAYERS, THUMB, plucks_in_layer
from coach.picking.pattern import Pattern
from coach.picking.plucks import Pluck
from coach.picking.realise import HeldBar
from coach.session.run import COUNT, MODEL, PLAY, BarOrder, PassDone, Run
from coach.song.cuts import cut_bars, part_spans
from coach.song.piece import Piece, PieceBar, pattern_piece
from coach.sound.score import BarScore, Stroke, Tone
from coach.tracks import click_strokes, hummed

# id -> how the screen says it
GUIDES = {"on": "thumb and fingers", "thumb": "thumb only", "fingers": "fingers only", "off": "off"}
SHORTEST_PASS_BARS = 4
# Bars that stay known after they sounded: what the tab still shows behind the cursor.
KEPT_BARS = 4


# What a pattern's loop is written at; the run sets the tempo.
_NOMINAL_BPM = Fraction(60)


@dataclass(frozen=True)
class Loop:
    """What is played round and round: a piece, whole or cut, as one pass.

    under  the layer that singing begins with
    early  the layer changes one bar before the words
    sung   it is begun singing
    climbs clean passes under the voice bring the next layer
    """

    piece: Piece
    under: str = THUMB
    early: bool = False
    sung: bool = False
    climbs: bool = True

    @property
    def bars(self) -> int:
        """Bars in one pass."""
        return len(self.piece.bars)

    def bar(self, number: int) -> PieceBar:
        """A bar of the loop, from 0."""
        return self.piece.bars[number]

    @property
    def layers(self) -> tuple[str, ...]:
        """The ladder of layers."""
        return self.piece.layers

    @cached_property
    def _spans(self) -> dict[tuple[str, int], tuple[int, int]]:
        return part_spans(self.piece)

    def part_name(self, number: int) -> str:
        """The part of a bar as it is called: `Chorus`, and `Verse 2` where a part is played more than once."""
        bar = self.bar(number)
        again = sum(1 for part, _ in self._spans if part == bar.part) > 1 or bar.time
        return f"{bar.part} {bar.time + 1}" if again else bar.part

    def part_bars(self, number: int) -> int:
        """Bars of the part that a bar belongs to."""
        bar = self.bar(number)
        return self.bar(self._spans[bar.part, bar.time][1]).part_bar + 1

    @cached_property
    def worded(self) -> bool:
        """True where something is sung."""
        return any(bar.words for bar in self.piece.bars)

    @cached_property
    def chords(self) -> tuple[str, ...]:
        """The chords of each bar, every name once, in order."""
        return tuple(dict.fromkeys(bar.held.name for bar in self.piece.bars))

    @cached_property
    def tune(self) -> tuple[tuple[Tone, ...], ...]:
        """The hummed notes that begin in each bar, swung like its plucks."""
        return hummed(self.piece.bars)

    def sounding(self, bar: int, layer: str) -> tuple[Pluck, ...]:
        """The plucks of a bar that sound in `layer`."""
        return plucks_in_layer(self.piece.bars[bar].plucks, layer)


def make_loop(pattern: Pattern, held: Sequence[HeldBar], *, capo: int = 0) -> Loop:
    """A loop of whole rounds of the chords and of the pattern's bars, at least SHORTEST_PASS_BARS long."""
    rounds = 1
    while len(held) * rounds % len(pattern.bars) or len(held) * rounds < SHORTEST_PASS_BARS:
        rounds += 1
    return Loop(pattern_piece(pattern, held, _NOMINAL_BPM, loops=rounds, capo=capo))


def song_loop(
    piece: Piece,
    first: int = 0,
    last: int | None = None,
    *,
    under: str = THUMB,
    early: bool = False,
    sung: bool = False,
    climbs: bool = True,
) -> Loop:
    """A song, or its bars `first` to `last` (both included), as a loop. Raises BadInput where there are none."""
    whole = first == 0 and last in (None, len(piece.bars) - 1) and piece.bars
    part = piece if whole else cut_bars(piece, first, len(piece.bars) - 1 if last is None else last)
    return Loop(part, under, early, sung, climbs)


def on_ladder(layers: Sequence[str], layer: str) -> str:
    """The highest of `layers` that sounds no more than `layer` does: a ladder leaves out those that differ in nothing.

    The lowest for an unknown one.
    """
    names = list(LAYERS)
    below = names[: names.index(layer) + 1] if layer in names else []
    return next((name for name in reversed(below) if name in layers), layers[0])


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
        self.humming = False
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

    def clicks(self, order: BarOrder) -> tuple[Stroke, ...]:
        """The clicks of a bar; in a pick-up those of the end of a whole one."""
        if order.kind == COUNT:
            # Before a pick-up the second bar of the count stops short of it.
            return click_strokes(range(self.loop.bar(0).meter.beats), Fraction(0), order.beats)
        bar = self.loop.bar(order.loop_bar)
        whole = max(bar.meter.beats, ceil(bar.beats))
        beats = range(whole) if order.kind == MODEL else self.click.beats(order.number, whole)
        return click_strokes(beats, bar.offset, order.beats)

    def score(self, order: BarOrder) -> BarScore:
        """What sounds in a bar."""
        if order.kind == COUNT:
            plucks: tuple[Pluck, ...] = ()
        elif order.kind == MODEL:
            plucks = self.loop.bar(order.loop_bar).plucks
        else:
            plucks = heard(self.loop.sounding(order.loop_bar, order.layer), self.guide)
        # What is only listened to is heard with its tune.
        tune = self.loop.tune[order.loop_bar] if order.kind == MODEL or (order.kind == PLAY and self.humming) else ()
        return BarScore(
            order.number, order.beats, order.bpm_from, order.bpm_to, self.clicks(order), plucks, tune
        )

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
        """(bar of the loop, layer, kind) to draw for bar `number`; one not yet ordered as it would be ordered now."""
        orders = self._orders
        if number not in orders:
            known = [n for n in orders if n < number]
            if not known:
                return None  # before the first bar
            order = orders[max(known)]
            while order is not None and order.number < number:
                order = self.run.next_order(order)
        else:
            order = orders[number]
        return None if order is None else (order.loop_bar, order.layer, order.kind)
