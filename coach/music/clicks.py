"""Which beats of a bar the click sounds on: every beat, two and four, one only, or bars that fall silent."""

from __future__ import annotations

from dataclasses import dataclass

from coach.errors import BadInput

# id -> how the screen says it
CLICK_MODES = {
    "beats": "every beat",
    "backbeat": "two and four",
    "one": "one only",
    "gaps": "silent bars",
    "none": "no click",
}


@dataclass(frozen=True)
class ClickWay:
    """How the click goes; in `gaps` mode `bars_on` bars sound and the next `bars_off` are silent."""

    mode: str = "beats"
    bars_on: int = 2
    bars_off: int = 2

    def __post_init__(self) -> None:
        if self.mode not in CLICK_MODES:
            raise BadInput(f"'{self.mode}' is not a way to click", mend="use one of " + ", ".join(CLICK_MODES))
        if self.bars_on < 1 or self.bars_off < 0:
            raise BadInput(
                "silent bars need at least one bar with a click", mend="give bars on 1 or more, bars off 0 or more"
            )

    def beats(self, bar: int, beats: int) -> tuple[int, ...]:
        """The beats (from 0) that click in `bar` (from 0) of a meter with `beats` beats."""
        if self.mode == "none":
            return ()
        if self.mode == "one":
            return (0,)
        if self.mode == "backbeat":
            # Two and four; where a bar has three beats, two and three; in two, the second.
            return (1, 2) if beats == 3 else tuple(range(1, beats, 2))
        if self.mode == "gaps" and bar % (self.bars_on + self.bars_off) >= self.bars_on:
            return ()
        return tuple(range(beats))
