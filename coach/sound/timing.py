"""Where bars, clicks and plucks fall, in frames. Pure and without numpy, so that a command can ask cheaply.

Every frame is worked out from the plan's origin, round(t · rate); none is reached by adding to another.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from coach.music.tempo import TempoPlan
from coach.sound.score import BarScore


@dataclass(frozen=True)
class ClickAt:
    """One click: `bar` from 0, `beat` from the bar line, `frame` from the start, `kind` DOWN or BEAT."""

    bar: int
    beat: Fraction
    frame: int
    kind: str


@dataclass(frozen=True)
class PlacedBar:
    """A bar with its place: `start_beat` since the origin, frames `start_frame` <= f < `end_frame`.

    `plan` is the tempo plan up to and through this bar.
    """

    score: BarScore
    start_beat: Fraction
    start_frame: int
    end_frame: int
    plan: TempoPlan


def extend_plan(plan: TempoPlan | None, start_beat: Fraction, score: BarScore) -> TempoPlan:
    """The plan carried on through one more bar that begins at `start_beat`."""
    slope = (score.bpm_to - score.bpm_from) / score.beats
    start = TempoPlan(()) if plan is None else plan
    return start.turn(start_beat, score.bpm_from, slope)


def place_bars(scores: Iterable[BarScore], rate: int) -> Iterator[PlacedBar]:
    """Bars one after the other from beat 0, each at its exact place."""
    plan: TempoPlan | None = None
    beat = Fraction(0)
    for score in scores:
        plan = extend_plan(plan, beat, score)
        end = beat + score.beats
        yield PlacedBar(score, beat, plan.frame(beat, rate), plan.frame(end, rate), plan)
        beat = end


def frames_of(scores: Iterable[BarScore], rate: int) -> int:
    """How long the bars are, without what rings on at their end, in frames."""
    last = deque(place_bars(scores, rate), maxlen=1)
    return last[0].end_frame if last else 0


def clicks_of(scores: Iterable[BarScore], rate: int) -> list[ClickAt]:
    """Every click written in the scores, in order."""
    return [
        ClickAt(placed.score.number, stroke.beat, placed.plan.frame(placed.start_beat + stroke.beat, rate), stroke.kind)
        for placed in place_bars(scores, rate)
        for stroke in placed.score.strokes
    ]
