"""A run: one block on the stage, as a pure machine that says what each next bar is.

    [model pass] -> count-in -> pass 0 -> pass 1 -> ... -> end

Bars are asked for one ahead of the one that sounds, so that they can be mixed in time; until a bar
begins it may be asked for again, and then reflects whatever the player did meanwhile. All that the
player does takes effect at the next bar line. Nothing here knows of sound, screen or clock.

Over a song with words one sings: the chosen layer sounds under the words, all of it where there are none. While
`climbs` is on, the layer under the voice comes back a step at a time: a pass without a stumble brings the next one,
one stumble keeps it, more take it one back; until it is full the ramp waits, so that one thing changes at a time
(common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from coach.music.ramps import Ramp
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM
from coach.picking.layers import FULL, next_layer
from coach.song.piece import PieceBar, singing_layers

MODEL, COUNT, PLAY = "model", "count", "play"
KEEPS = 1
"""Stumbles in a pass under the voice that leave the layer where it is; more take it back."""


@dataclass(frozen=True)
class BarOrder:
    """What bar `number` of the run is.

    kind      model (listen), count (the count-in) or play
    loop_bar  which bar of the loop, from 0; in the count-in which of its bars
    pass_no   which pass, from 0; -1 in model and count-in
    ramp_bar  bars played on the ramp before this one
    bpm_from  tempo at its bar line and at its end, as it sounds; the ramp's own tempo times `share`
    layer     how much sounds in it
    chosen    the layer that the player chose: it may hold under words only
    beats     its length
    share     its part's tempo as a share of the loop's first bar's
    sung      the player sings in this pass
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
    chosen: str
    beats: Fraction
    share: Fraction = Fraction(1)
    sung: bool = False
    start_s: float = 0.0
    play_s: float = 0.0
    held: bool = False
    go: int = 0

    @property
    def tempo(self) -> Fraction:
        """The ramp's tempo at the bar line, whatever this bar's part makes of it."""
        return self.bpm_from / self.share


def count_in(first: PieceBar) -> tuple[Fraction, ...]:
    """The lengths of the bars counted before `first`: one whole bar, and before a pick-up also the beats that lead
    to it, so that it falls where it belongs (common practice, no source).
    """
    whole = Fraction(first.meter.beats)
    return (whole, first.offset) if first.offset else (whole,)


@dataclass(frozen=True)
class PassDone:
    """A pass that was played to its end; `bpm` is the ramp's tempo it ended with, `layer` the one chosen."""

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

    bars        the bars of one pass
    layers      the ladder of layers, `thumb` first, `full` last
    layer       the chosen one
    play_limit  seconds of playing after which the run ends with the pass; None for no end
    singing     `layer` holds under words, and all sounds where there are none
    under       the layer that singing begins with, "" for the lowest
    early       it changes one bar before the words begin
    climbs      while singing, passes move the layer (see the module's text)
    listens     nothing is played: the model goes round until `play_limit` seconds are over, twice as long at the most
    """

    bars: Sequence[PieceBar]
    ramp: Ramp
    layers: Sequence[str]
    layer: str = FULL
    model: bool = False
    play_limit: float | None = None
    pass_limit: int | None = None
    singing: bool = False
    under: str = ""
    early: bool = False
    climbs: bool = True
    listens: bool = False

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
    _pass_layer: str | None = None  # the layer a sung pass has been on from its first bar
    _known: dict[tuple[str, bool], tuple[str, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.under = self.under or self.layers[0]
        self.worded = any(bar.words for bar in self.bars)
        self.singing = self.singing and self.worded
        self.count = count_in(self.bars[0])

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
        self.layer = next_layer(self.layers, self.layer, by)
        if not self.singing:
            self._before_singing = None

    def sing(self) -> bool:
        """Over words: thin the picking under them, or all of it again. Without words: to the thumb and back.

        True when it is thinned now.
        """
        if self.worded:
            self.singing = not self.singing
            if self.singing:
                self._before_singing, self.layer = self.layer, self.under
            else:
                self.under, self.layer = self.layer, self._before_singing or self.layers[-1]
                self._before_singing = None
            return self.singing
        if self._before_singing is not None:
            self.layer, self._before_singing = self._before_singing, None
        elif self.layer == self.layers[0]:
            # Begun as a singing block: opening up means all of it.
            self.layer = self.layers[-1]
        else:
            self._before_singing, self.layer = self.layer, self.layers[0]
        return self.layer == self.layers[0]

    def climb(self) -> bool:
        """Let passes move the layer under the voice, or hold it. True when it moves now."""
        self.climbs = not self.climbs
        return self.climbs

    def change_early(self) -> bool:
        """Change the layer one bar before the words, or with them. True when early now."""
        self.early = not self.early
        return self.early

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

    @property
    def played_s(self) -> float:
        """Seconds played so far, up to the bar line that was reached last."""
        last = self.current
        return last.play_s if last is not None and last.kind == PLAY else self._from[1]

    def ahead(self) -> str:
        """What the ramp does next, in words."""
        if self.held:
            return "held here"
        if self._waits(self.layer):
            return "waits for full"
        bar = self.current.ramp_bar if self.current else self._from[0]
        return self.ramp.ahead(max(bar - self._zero, 0), self._ramp_passes)

    def chosen_for(self, pass_no: int) -> str:
        """The layer chosen for a pass: of one to come as the stumbles so far would have it."""
        layer, to_come = self.layer, pass_no - len(self.passes)
        for pass_ in range(to_come):
            layer = self._climbed(layer, 0 if pass_ else self._stumbles)
        return layer

    def next_order(self, last: BarOrder | None) -> BarOrder | None:
        """The bar after `last` (None: the first of all) as things stand now; None at the end. Changes nothing.

        `last` is the bar that sounds or, where bars are mixed further ahead, one that is still to come.
        """
        if self.ending:
            return None
        if last is None:
            kind = MODEL if self.model or self.listens else COUNT
            return self._order(0, kind, 0, -1, self._from[0], 0.0, self._from[1])
        start = last.start_s + bar_seconds(last)
        number = last.number + 1
        if last.kind == MODEL:
            over = last.loop_bar + 1 >= len(self.bars)
            loop_bar = 0 if over else last.loop_bar + 1
            if self.listens:
                limit = self.play_limit or 0.0
                if start >= (limit if over else 2 * limit):
                    return None
                return self._order(number, MODEL, loop_bar, -1, last.ramp_bar + 1, start, start)
            return self._order(number, COUNT if over else MODEL, loop_bar, -1, last.ramp_bar, start, last.play_s)
        if last.kind == COUNT:
            if last.loop_bar + 1 < len(self.count):
                return self._order(number, COUNT, last.loop_bar + 1, -1, last.ramp_bar, start, last.play_s)
            return self._order(number, PLAY, 0, len(self.passes), last.ramp_bar, start, last.play_s, self._goes)
        played = last.play_s + bar_seconds(last)
        ramp_bar = last.ramp_bar + (0 if last.held else 1)
        if last.go < self._goes and last.pass_no == self._anew:
            return self._order(number, PLAY, 0, last.pass_no, ramp_bar, start, played, self._goes)
        if last.loop_bar + 1 < len(self.bars):
            return self._order(number, PLAY, last.loop_bar + 1, last.pass_no, ramp_bar, start, played, last.go)
        done = last.pass_no + 1
        if (self.play_limit is not None and played >= self.play_limit) or (self.pass_limit and done >= self.pass_limit):
            return None
        return self._order(number, PLAY, 0, done, ramp_bar, start, played, last.go)

    def begin(self, order: BarOrder) -> PassDone | None:
        """Say that `order` (as it was mixed) begins to sound. Returns the pass that ended with it, if one did."""
        done = self._close(order)
        self.current = order
        if order.loop_bar == 0:
            self._pass_layer = order.chosen if order.kind == PLAY and order.sung else None
        elif order.chosen != self._pass_layer or not order.sung:
            self._pass_layer = None
        return done

    def end(self) -> PassDone | None:
        """Say that the last bar has sounded. Returns the pass that ended with it if it was whole, once."""
        last, done = self.current, self._close(None)
        if last is not None and last.kind == PLAY:  # where it would go on after a rest
            self._from = (last.ramp_bar + (0 if last.held else 1), last.play_s + bar_seconds(last))
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
        self._pass_layer = None

    def _close(self, following: BarOrder | None) -> PassDone | None:
        last = self.current
        if last is None or last.kind != PLAY:
            return None
        if following is not None and following.pass_no == last.pass_no and following.go != last.go:
            self._stumbles = 0
            return None
        if last.loop_bar + 1 < len(self.bars):
            return None
        done = PassDone(last.pass_no, last.bpm_to / last.share, len(self.bars), self._stumbles, last.chosen)
        self.passes.append(done)
        if not self.held and not self._waits(self.layer):
            self._ramp_passes.append(done.clean)
        self.layer = self._climbed(self.layer, self._stumbles)
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
        chosen = self.chosen_for(pass_no)
        held = (self.held or self._waits(chosen)) and kind != MODEL
        if held and bar > 0:
            # Where the last bar of the ramp ended, the tempo stands.
            low = high = self.ramp.tempo(bar - 1, passes)[1]
        else:
            low, high = self.ramp.tempo(max(bar, 0), passes)
        if held or kind != PLAY:
            high = low
        if kind == COUNT:
            beats, share = self.count[loop_bar], Fraction(1)
        else:
            beats, share = self.bars[loop_bar].beats, self.bars[loop_bar].bpm / self.bars[0].bpm
        layer = self.layers[-1] if kind == MODEL else self.layers_of(chosen)[loop_bar]
        sung = kind == PLAY and (self.singing or (not self.worded and chosen == self.layers[0] != self.layers[-1]))
        return BarOrder(
            number=number,
            kind=kind,
            loop_bar=loop_bar,
            pass_no=pass_no,
            ramp_bar=ramp_bar,
            bpm_from=self._nudged(low, share),
            bpm_to=self._nudged(high, share),
            layer=layer,
            chosen=chosen,
            beats=beats,
            share=share,
            sung=sung,
            start_s=start_s,
            play_s=play_s,
            held=held,
            go=go,
        )

    def layers_of(self, chosen: str) -> tuple[str, ...]:
        """The layer of each bar of the loop when `chosen` is chosen."""
        if not self.singing:
            return (chosen,) * max(len(self.bars), len(self.count))
        if (chosen, self.early) not in self._known:
            # It goes round: before the first bar comes the last one.
            self._known[chosen, self.early] = singing_layers((*self.bars, self.bars[0]), chosen, early=self.early)
        return self._known[chosen, self.early]

    def _waits(self, chosen: str) -> bool:
        """The ramp stands while the layer under the voice is on its way up."""
        return self.singing and self.climbs and chosen != self.layers[-1]

    def _climbed(self, layer: str, stumbles: int) -> str:
        """The layer after a pass with so many stumbles."""
        if self.held or not self.climbs or not self.singing or self._pass_layer != self.layer:
            return layer
        return next_layer(self.layers, layer, 1 if stumbles == 0 else 0 if stumbles <= KEEPS else -1)

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
        if pending <= 0 or self.held or self._waits(self.layer):
            return list(self._ramp_passes)
        return [*self._ramp_passes, self._stumbles == 0, *[True] * (pending - 1)]

    def _nudged(self, bpm: Fraction, share: Fraction) -> Fraction:
        return min(max((bpm + self.nudge) * share, Fraction(SLOWEST_BPM)), Fraction(FASTEST_BPM))


def bar_seconds(order: BarOrder) -> float:
    """How long a bar lasts, in seconds; for a smooth bar the closed form of `coach.music.tempo`."""
    low, high, beats = float(order.bpm_from), float(order.bpm_to), float(order.beats)
    if low == high:
        return 60.0 * beats / low
    return 60.0 * beats / (high - low) * math.log(high / low)
