"""The run of a block: what the settings, the block and its loop make of it before the first beat."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from coach.music.ramps import RAMP_NAMES, Ramp, SlowThenTarget, make_ramp
from coach.picking.layers import FULL, THUMB
from coach.plan.planner import Block
from coach.session.conductor import Loop, on_ladder
from coach.session.context import World
from coach.session.run import BarOrder, Run
from coach.settings import Settings
from coach.skill.steady_tempo import SteadyTempo

LONGEST_MODEL_BARS = 16
USUAL_BPM, USUAL_SHARE = 80, 0.03


@dataclass(frozen=True)
class Occasion:
    """What a block on the stage is part of.

    place   `block 2 of 7`, "" for one alone
    model   it is heard once before it is played
    before  the steady tempo as known until now
    chords  those asked for in place of the drill's own, "" for its own
    """

    place: str = ""
    model: bool = False
    before: SteadyTempo | None = None
    chords: str = ""


def run_of(block: Block, loop: Loop, settings: Settings, *, ceiling: Fraction | None, model: bool) -> Run:
    """The run of `block` as the player likes it, or with the ramp that it asks for itself; an earned tempo may rise to
    `ceiling` bpm. Where the turn is about its tempos, the layer under the voice stays: one thing changes at a time.

    With `model` it is heard first, but for a long song: that is not listened to from end to end before it is played.
    """
    start = Fraction(block.tempo_from or USUAL_BPM)
    target = Fraction(block.tempo_to or start)
    share = block.step_share or USUAL_SHARE
    if block.listened:
        return _listening(block, loop, start, target)
    under = on_ladder(loop.layers, loop.under)
    layer = on_ladder(loop.layers, block.layer or FULL)
    return Run(
        loop.piece.bars,
        make_ramp(block.ramp or settings.ramp, start, target, step_share=share, pass_bars=loop.bars, ceiling=ceiling),
        loop.layers,
        layer=under if loop.sung else layer,
        model=model and (loop.bars <= LONGEST_MODEL_BARS or not loop.piece.order),
        play_limit=block.minutes * 60.0,
        singing=loop.sung,
        under=under,
        early=loop.early if settings.thinning == "arranged" else settings.thinning == "early",
        climbs=loop.climbs and settings.ladder and block.ramp is None,
    )


def _listening(block: Block, loop: Loop, slow: Fraction, target: Fraction) -> Run:
    """A run that is only heard: once round slowly where there is time for it, then at the target."""
    limit = block.minutes * 60.0
    once = 60 * float(sum(bar.beats / (bar.bpm / loop.piece.bars[0].bpm) for bar in loop.piece.bars) / slow)
    return Run(
        loop.piece.bars,
        SlowThenTarget(slow, target, loop.bars if once <= 0.75 * limit else 0),
        loop.layers,
        play_limit=limit,
        listens=True,
    )


def next_ramp(run: Run, block: Block, bars: int, order: BarOrder | None, ceiling: Fraction | None) -> Ramp:
    """The kind of ramp after the run's own, from the tempo of now; `bars` is the length of a pass."""
    now = order.tempo if order else run.ramp.tempo(0, [])[0]
    return make_ramp(
        after(RAMP_NAMES, run.ramp.name),
        now,
        max(Fraction(block.tempo_to or 0), now),
        step_share=block.step_share or USUAL_SHARE,
        pass_bars=bars,
        ceiling=ceiling,
    )


def after(choices: Iterable[str], now: str) -> str:
    """The choice that comes after `now`, after the last the first."""
    names = list(choices)
    return names[(names.index(now) + 1) % len(names)]


def free_block(world: World, pattern_id: str, tempo: int | None, sing: bool, minutes: int = 5) -> Block:
    """The block of `coach drill PATTERN`. Raises CoachError."""
    drill = world.drill(pattern_id)
    start = tempo or drill.start_bpm
    layer = THUMB if sing else FULL
    return Block(
        "play", drill.id, drill.title, minutes, start, max(start, drill.target_bpm), layer, (), drill.step_share
    )
