"""A run: one block on the stage, as a pure machine that says what each next bar is.

    [model pass] -> count-in -> pass 0 -> pass 1 -> ... -> end

Bars are asked for one ahead of the one that sounds, so that they can be mixed in time; until a bar
begins it may be asked for again, and then reflects whatever the player did meanwhile. All that the
player does takes effect at the next bar line. Nothing here knows of sound, screen or clock.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM
from coach.practice.ramps import Ramp

MODEL, COUNT, PLAY = "model", "count", "play"


@dataclass(frozen=True)
class BarOrder:
    """What bar `number` of the run is.

    kind      model (listen), count (the count-in) or play
    loop_bar  which bar of the loop, from 0
    pass_no   which pass, from 0; -1 in model and count-in
    ramp_bar  bars played on the ramp before this one
    start_s   seconds from the run's start to its bar line
    play_s    seconds played in passes before it
    held      the ramp is held in this bar, so it does not count as a bar of the ramp
    go        how many times a pass was begun anew before this bar
    """

    number: int
    kind: str
    loop_bar: int
    pass_no: int
    ramp_bar: int
    bpm_from: Fraction
    bpm_to: Fraction
    layer: str
    start_s: float = 0.0
    play_s: float = 0.0
    held: bool = False
    go: int = 0


@dataclass(frozen=True)
class PassDone:
    """A pass that was played to its end; `bpm` is the tempo it ended with."""

    number: int
    bpm: Fraction
    bars: int
    stumbles: int
    layer: str

    @property
    def clean(self) -> bool:
        """True for a pass without a stumble."""
        return self.stumbles == 0


@dataclass
class Run:
    """The machine. Settings may be changed at any time; `begin` moves it on.

    loop_bars   bars in one pass
    beats       beats in a bar
    layers      the ladder of layers, `thumb` first, `full` last
    play_limit  seconds of playing after which the run ends with the pass; None for no end
    """

    loop_bars: int
    beats: int
    ramp: Ramp
    layers: Sequence[str]
    layer: str = "full"
    model: bool = False
    play_limit: float | None = None
    pass_limit: int | None = None

    nudge: Fraction = Fraction(0)
    held: bool = False
    ending: bool = False
    current: BarOrder | None = None
    passes: list[PassDone] = field(default_factory=list)
    _ramp_passes: list[bool] = field(default_factory=list)
    _stumbles: int = 0
    _goes: int = 0
    _anew: int = -1
    _before_singing: str | None = None
    _from: tuple[int, float] = (0, 0.0)
    _zero: int = 0

    # What the player does ---------------------------------------------------------------------

    def faster(self, by: int) -> None:
        """Shift the tempo by `by` bpm (negative: slower) from the next bar line on."""
        # Presses beyond what the click can play must not pile up: the first press back is heard.
        bpm = self._ramp_tempo(self.current)
        self.nudge = min(max(self.nudge + by, SLOWEST_BPM - bpm), FASTEST_BPM - bpm)

    def stumble(self) -> None:
        """Note a stumble in the pass that is being played."""
        self._stumbles += 1

    def step_layer(self, by: int) -> None:
        """Up or down the ladder of layers."""
        here = self.layers.index(self.layer) if self.layer in self.layers else len(self.layers) - 1
        self.layer = self.layers[min(max(here + by, 0), len(self.layers) - 1)]
        self._before_singing = None

    def sing(self) -> bool:
        """Straight to the thumb layer, or back to where it was. True when the thumb is alone now."""
        if self._before_singing is not None:
            self.layer, self._before_singing = self._before_singing, None
        elif self.layer == self.layers[0]:
            # Begun as a singing block: opening up means all of it.
            self.layer = self.layers[-1]
        else:
            self._before_singing, self.layer = self.layer, self.layers[0]
        return self.layer == self.layers[0]

    def hold(self) -> bool:
        """Hold the ramp where it is, or let it go on. True when held now."""
        self.held = not self.held
        return self.held

    def change_ramp(self, ramp: Ramp) -> None:
        """Go on with another ramp from the next bar line; what was nudged or earned before is in its start."""
        self.ramp, self.nudge = ramp, Fraction(0)
        self._ramp_passes.clear()
        self._zero = self.current.ramp_bar if self.current else self._from[0]

    def again(self) -> None:
        """Drop the pass being played and begin it anew at the next bar line; without a pass nothing happens."""
        if self.current is not None and self.current.kind == PLAY:
            self._goes += 1
            self._anew = self.current.pass_no

    def finish(self) -> None:
        """End the run after the bar being played."""
        self.ending = True

    # What comes next --------------------------------------------------------------------------

    @property
    def stumbles(self) -> int:
        """Stumbles in the pass being played."""
        return self._stumbles

    def ahead(self) -> str:
        """What the ramp does next, in words."""
        if self.held:
            return "held here"
        bar = self.current.ramp_bar if self.current else self._from[0]
        return self.ramp.ahead(max(bar - self._zero, 0), self._ramp_passes)

    def next_order(self, last: BarOrder | None) -> BarOrder | None:
        """The bar after `last` (None: the first of all) as things stand now; None at the end. Changes nothing.

        `last` is the bar that sounds or, where bars are mixed further ahead, one that is still to come.
        """
        if self.ending:
            return None
        if last is None:
            return self._order(0, MODEL if self.model else COUNT, 0, -1, self._from[0], 0.0, self._from[1])
        start = last.start_s + bar_seconds(last, self.beats)
        number = last.number + 1
        if last.kind == MODEL:
            over = last.loop_bar + 1 >= self.loop_bars
            loop_bar = 0 if over else last.loop_bar + 1
            return self._order(number, COUNT if over else MODEL, loop_bar, -1, last.ramp_bar, start, last.play_s)
        if last.kind == COUNT:
            return self._order(number, PLAY, 0, len(self.passes), last.ramp_bar, start, last.play_s, self._goes)
        played = last.play_s + bar_seconds(last, self.beats)
        ramp_bar = last.ramp_bar + (0 if last.held else 1)
        if last.go < self._goes and last.pass_no == self._anew:
            return self._order(number, PLAY, 0, last.pass_no, ramp_bar, start, played, self._goes)
        if last.loop_bar + 1 < self.loop_bars:
            return self._order(number, PLAY, last.loop_bar + 1, last.pass_no, ramp_bar, start, played, last.go)
        done = last.pass_no + 1
        if (self.play_limit is not None and played >= self.play_limit) or (self.pass_limit and done >= self.pass_limit):
            return None
        return self._order(number, PLAY, 0, done, ramp_bar, start, played, last.go)

    def begin(self, order: BarOrder) -> PassDone | None:
        """Say that `order` (as it was mixed) begins to sound. Returns the pass that ended with it, if one did."""
        done = self._close(order)
        self.current = order
        return done

    def end(self) -> PassDone | None:
        """Say that the last bar has sounded. Returns the pass that ended with it if it was whole, once."""
        done = self._close(None)
        self.current = None
        return done

    def stop(self) -> None:
        """Stop where we are: the running pass is not counted, and the next start goes on from here after a count-in."""
        last = self.current
        if last is not None and last.kind == PLAY:
            self._from = (last.ramp_bar, last.play_s)
        if last is not None and last.kind != MODEL:
            self.model = False
        self.current = None
        self.ending = False
        self._stumbles = 0

    def _close(self, following: BarOrder | None) -> PassDone | None:
        last = self.current
        if last is None or last.kind != PLAY:
            return None
        if following is not None and following.pass_no == last.pass_no and following.go != last.go:
            self._stumbles = 0
            return None
        if last.loop_bar + 1 < self.loop_bars:
            return None
        done = PassDone(last.pass_no, last.bpm_to, self.loop_bars, self._stumbles, last.layer)
        self.passes.append(done)
        if not self.held:
            self._ramp_passes.append(done.clean)
        self._stumbles = 0
        return done

    def _order(
        self,
        number: int,
        kind: str,
        loop_bar: int,
        pass_no: int,
        ramp_bar: int,
        start_s: float,
        play_s: float,
        go: int = 0,
    ) -> BarOrder:
        bar, passes = ramp_bar - self._zero, self._passes_before(pass_no)
        held = self.held and kind != MODEL
        if held and bar > 0:
            # Where the last bar of the ramp ended, the tempo stands.
            low = high = self.ramp.tempo(bar - 1, passes)[1]
        else:
            low, high = self.ramp.tempo(max(bar, 0), passes)
        if held or kind != PLAY:
            high = low
        layer = self.layers[-1] if kind == MODEL else self.layer
        low, high = self._nudged(low), self._nudged(high)
        return BarOrder(number, kind, loop_bar, pass_no, ramp_bar, low, high, layer, start_s, play_s, held, go)

    def _ramp_tempo(self, order: BarOrder | None) -> Fraction:
        """What the ramp alone says to `order`, or to a start from here."""
        bar, pass_no = (order.ramp_bar, order.pass_no) if order else (self._from[0], -1)
        return self.ramp.tempo(max(bar - self._zero, 0), self._passes_before(pass_no))[0]

    def _passes_before(self, pass_no: int) -> list[bool]:
        """Ramp passes gone by when pass `pass_no` begins.

        The pass that still runs counts as clean unless a stumble was marked: a stumble marked later has the
        bar asked for again.
        """
        pending = pass_no - len(self.passes)
        if pending <= 0 or self.held:
            return list(self._ramp_passes)
        return [*self._ramp_passes, self._stumbles == 0, *[True] * (pending - 1)]

    def _nudged(self, bpm: Fraction) -> Fraction:
        return min(max(bpm + self.nudge, Fraction(SLOWEST_BPM)), Fraction(FASTEST_BPM))


def bar_seconds(order: BarOrder, beats: int) -> float:
    """How long a bar lasts, in seconds; for a smooth bar the closed form of `coach.music.tempo`."""
    low, high = float(order.bpm_from), float(order.bpm_to)
    if low == high:
        return 60.0 * beats / low
    return 60.0 * beats / (high - low) * math.log(high / low)
