"""What was played: a take, its passes, its stumbles, and the player's own word for it.

    take    one go at a drill         ── passes    each time round the loop, as it ended
                                      ── stumbles  each one, as it happened: bar in the loop, beat, tempo
                                      ── verdict   lost < shaky < held < flowing, or none (cut off)
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from coach.picking.layers import FULL


class Verdict(StrEnum):
    """The player's word for a take, worst to best."""

    LOST = "lost"
    SHAKY = "shaky"
    HELD = "held"
    FLOWING = "flowing"


VERDICTS = tuple(Verdict)
VERDICT_PLACES: dict[str, int] = {verdict: place for place, verdict in enumerate(Verdict)}
"""The place of each verdict, 0 for the worst."""


class Mode(StrEnum):
    """Whether the player only played or sang as well."""

    PLAY = "play"
    SING = "sing"


MOST_COUNTED = 100_000
"""The most bars, stumbles or passes that one entry may speak of."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One time round the loop: `number` from 1 within its take, `tempo` in bpm, `clean` when nothing went wrong."""

    number: int
    tempo: float
    bars: int
    stumbles: int
    clean: bool
    layer: str


@dataclass(frozen=True, slots=True)
class Stumble:
    """One stumble: `bar` within the loop from 0, `beat` an exact fraction of a bar as text, `tempo` in bpm."""

    take: str
    at: datetime
    bar: int
    beat: str
    tempo: float
    pass_no: int


@dataclass(frozen=True, slots=True)
class Note:
    """Something worth remembering beside the takes: `kind` in a few plain words, `take` where it belongs to one."""

    id: str
    at: datetime
    local_day: date
    kind: str
    text: str
    take: str | None


@dataclass(frozen=True, slots=True)
class Take:
    """One go at a drill.

    at         when it began, UTC
    local_day  the player's own date then
    tempo      bpm: the fastest pass, or what it began with when no pass was finished
    bars       bars played, over all finished passes
    stumbles   how many in all; a cut-off pass counts those it had
    verdict    one of Verdict, None when the take was cut off
    layer      the layer it began on
    mode       one of Mode
    passes     in order; empty for a take written into the log by hand, where only the sums are known
    """

    id: str
    at: datetime
    local_day: date
    drill: str
    tempo: float
    bars: int
    stumbles: int
    verdict: str | None
    layer: str = FULL
    mode: str = Mode.PLAY
    passes: tuple[Pass, ...] = ()
