"""Tempo ramps: the tempo of each bar of a practice block, from the bars played and how the passes went.

    steady     one tempo
    climb      up a step every so many bars
    smooth     linear in beats from one tempo to another
    earned     up one step after a clean pass, down four after a stumbled one
    alternate  a slow pass, a pass at the target, in turns

The earned ramp is the weighted up-down rule of Kaernbach (1991): with steps down/up = p/(1-p) it settles
where a share p of passes is clean; four to one is 80 %. Steps are a share of the tempo between 1.5 %,
below which a change is hardly heard, and 5 % (Drake & Botte 1993).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from coach.errors import BadInput
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM

SMALLEST_STEP, LARGEST_STEP = 0.015, 0.05
STEPS_DOWN = 4
# How far past the target an earned ramp may go: a margin makes the target itself easy.
OVER_TARGET = 1.1

IN_TURNS = "alternate"
"""The name of the ramp of two tempos in turns."""

Tempo = tuple[Fraction, Fraction]


class Ramp(Protocol):
    """Tempo of a bar from how many bars were played on the ramp and how its passes went."""

    @property
    def name(self) -> str:
        """The ramp's word."""
        ...

    def tempo(self, bar: int, passes: Sequence[bool]) -> Tempo:
        """(bpm at the bar line, bpm at the bar's end) of ramp bar `bar` after `passes` (True: clean)."""
        ...

    def ahead(self, bar: int, passes: Sequence[bool]) -> str:
        """What comes next, in a few words for the stage."""
        ...


def round_bpm(bpm: float | Fraction) -> Fraction:
    """A tempo rounded to a tenth of a bpm and kept within what the click can play."""
    return Fraction(round(min(max(float(bpm), SLOWEST_BPM), FASTEST_BPM) * 10), 10)


def tempo_step(bpm: float, share: float = 0.03) -> Fraction:
    """A step of whole bpm near `share` of `bpm` that stays between 1.5 % and 5 % of it."""
    step = round(bpm * share)
    while step > 1 and step > LARGEST_STEP * bpm:
        step -= 1
    while step < SMALLEST_STEP * bpm:
        step += 1
    return Fraction(step)


@dataclass(frozen=True)
class Steady:
    """One tempo throughout."""

    bpm: Fraction
    name: str = "steady"

    def tempo(self, bar: int, passes: Sequence[bool]) -> Tempo:
        """The one tempo."""
        return self.bpm, self.bpm

    def ahead(self, bar: int, passes: Sequence[bool]) -> str:
        """Says that it stays."""
        return "stays here"


@dataclass(frozen=True)
class SlowThenTarget:
    """For listening: the first `bars` bars at `slow`, all that follow at `target`."""

    slow: Fraction
    target: Fraction
    bars: int
    name: str = "listen"

    def tempo(self, bar: int, passes: Sequence[bool]) -> Tempo:
        """As the ramp's protocol has it."""
        bpm = self.slow if bar < self.bars else self.target
        return bpm, bpm

    def ahead(self, bar: int, passes: Sequence[bool]) -> str:
        """As the ramp's protocol has it."""
        return f"then at {float(self.target):g}" if bar < self.bars and self.slow != self.target else "hands at rest"


@dataclass(frozen=True)
class Climb:
    """From `start` to `target` by `step` bpm every `every` bars; the last step lands on the target."""

    start: Fraction
    target: Fraction
    step: Fraction
    every: int
    name: str = "climb"

    def __post_init__(self) -> None:
        if self.step <= 0 or self.every < 1:
            raise BadInput("a climb needs a step and a length above 0", mend="give --step and --every 1 or more")

    def tempo(self, bar: int, passes: Sequence[bool]) -> Tempo:
        """The tempo of the step this bar stands on."""
        up = self.target >= self.start
        raised = self.start + (1 if up else -1) * self.step * (bar // self.every)
        bpm = min(raised, self.target) if up else max(raised, self.target)
        return bpm, bpm

    def ahead(self, bar: int, passes: Sequence[bool]) -> str:
        """Says to what and when it steps."""
        now = self.tempo(bar, passes)[0]
        if now == self.target:
            return "target reached"
        left = self.every - bar % self.every
        return f"{tempo_text(self.tempo(bar + left, passes)[0])} in {left} bar{'s' if left > 1 else ''}"


@dataclass(frozen=True)
class Smooth:
    """From `start` to `target` linear in beats over `over` bars, then standing there."""

    start: Fraction
    target: Fraction
    over: int
    name: str = "smooth"

    def __post_init__(self) -> None:
        if self.over < 1:
            raise BadInput("a smooth ramp must last at least one bar", mend="give --smooth 1 or more")

    def _at(self, bar: int) -> Fraction:
        return self.start + (self.target - self.start) * Fraction(min(bar, self.over), self.over)

    def tempo(self, bar: int, passes: Sequence[bool]) -> Tempo:
        """Tempo at both ends of the bar."""
        return self._at(bar), self._at(bar + 1)

    def ahead(self, bar: int, passes: Sequence[bool]) -> str:
        """Says where it is going."""
        left = self.over - bar
        return (
            "target reached" if left <= 0 else f"to {tempo_text(self.target)} over {left} bar{'s' if left > 1 else ''}"
        )


@dataclass(frozen=True)
class Earned:
    """Up one step of `step_share` after a clean pass, down four after a stumbled one (Kaernbach 1991)."""

    start: Fraction
    target: Fraction
    step_share: float = 0.03
    name: str = "earned"

    def __post_init__(self) -> None:
        if not SMALLEST_STEP <= self.step_share <= LARGEST_STEP:
            raise BadInput(f"an earned step of {self.step_share:.1%} is out of range", mend="use 1.5 % to 5 %")

    def after_pass(self, bpm: Fraction, clean: bool) -> Fraction:
        """The tempo after a pass at `bpm`: steps are equal in log tempo, so that four down undo four up."""
        moved = float(bpm) * (1 + self.step_share) ** (1 if clean else -STEPS_DOWN)
        return round_bpm(min(moved, float(self.target) * OVER_TARGET))

    def tempo(self, bar: int, passes: Sequence[bool]) -> Tempo:
        """The tempo that the passes so far have earned."""
        bpm = self.start
        for clean in passes:
            bpm = self.after_pass(bpm, clean)
        return bpm, bpm

    def ahead(self, bar: int, passes: Sequence[bool]) -> str:
        """Says what a clean and a stumbled pass would bring."""
        now = self.tempo(bar, passes)[0]
        return f"clean {tempo_text(self.after_pass(now, True))}, stumbled {tempo_text(self.after_pass(now, False))}"


@dataclass(frozen=True)
class Alternate:
    """A pass at `slow`, a pass at `target`, in turns."""

    slow: Fraction
    target: Fraction
    name: str = IN_TURNS

    def tempo(self, bar: int, passes: Sequence[bool]) -> Tempo:
        """Slow on even passes, the target on odd ones."""
        bpm = self.target if len(passes) % 2 else self.slow
        return bpm, bpm

    def ahead(self, bar: int, passes: Sequence[bool]) -> str:
        """Says the other tempo."""
        return f"then {tempo_text(self.slow if len(passes) % 2 else self.target)}"


RAMP_NAMES = ("earned", "climb", "smooth", IN_TURNS, "steady")


def make_ramp(
    name: str,
    start: Fraction,
    target: Fraction,
    *,
    step_share: float = 0.03,
    pass_bars: int = 4,
    ceiling: Fraction | None = None,
) -> Ramp:
    """The ramp called `name` between two tempos, with steps and lengths that suit a block of a few minutes.

    Who plays clean goes on past the block's target when the tempo is earned: up to `ceiling`, where there is one.

    Raises BadInput for an unknown name.
    """
    if name == "steady":
        return Steady(start)
    if name == "climb":
        return Climb(start, target, tempo_step(float(start), step_share), pass_bars)
    if name == "smooth":
        # As many bars as the climb would take.
        steps = max(1, round(abs(float(target - start)) / float(tempo_step(float(start), step_share))))
        return Smooth(start, target, steps * pass_bars)
    if name == "earned":
        return Earned(start, max(target, ceiling or target), step_share)
    if name == IN_TURNS:
        return Alternate(start, target)
    raise BadInput(f"'{name}' is not a ramp", mend="use one of " + ", ".join(RAMP_NAMES))


def tempo_text(bpm: Fraction | float) -> str:
    """A tempo as people say it: 84, or 84.5."""
    return f"{float(bpm):.1f}".rstrip("0").rstrip(".")
