"""What a take proves: the share of clean passes first, the player's word second.

How easy practice feels predicts badly what stays: players believed the order that taught them less (Abushanab &
Bishara 2013, Mem. Cognit. 41:928-937), and what stayed went with the share of correct trials, not with minutes
or counts (Duke, Simmons & Cash 2009, JRME 56:310-321). So the word can lower what the passes say, never raise it.

Of a take that was heard (`coach listen --log`) passes and word are the ear's: what was missed, wrong, extra or waited
for makes a pass a stumbled one, and measured timing that is unsteady lowers the word.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import compress

from coach.log.takes import VERDICT_PLACES, VERDICTS, Take, Verdict
from coach.skill.take_summary import TakeSummary, summarize

# The least share of clean passes at which each verdict above `lost` is believed. 0.7 leaves room below the 8 in 10 that
# the ramp aims at (Kaernbach 1991 at p = 0.8); the rest is ours, no source.
_SHAKY, _HELD, _FLOWING = 0.4, 0.7, 0.9
HELD = (Verdict.HELD, Verdict.FLOWING)
"""The verdicts of what was held."""
ENOUGH_PASSES = 3
"""With fewer passes than this nothing is believed to flow: one lucky time round proves little (ours, no source)."""
_HELD_PLACE = VERDICT_PLACES[Verdict.HELD]


def counted(takes: Sequence[TakeSummary]) -> tuple[float, int]:
    """(how much of it was clean, how many passes) over all of `takes`.

    A take logged by hand has no passes; it counts as one, clean by its share of bars without a stumble.
    """
    clean, weight = 0.0, 0
    for take in takes:
        if take.cleans:
            clean += sum(take.cleans)
            weight += len(take.cleans)
        elif take.bars:
            clean += 1 - min(take.stumbles, take.bars) / take.bars
            weight += 1
    return clean, weight


def _by_hand(take: TakeSummary) -> bool:
    return not take.cleans and take.bars > 0


def stands(takes: Sequence[TakeSummary]) -> str | None:
    """The verdict these takes of one drill support; None when they say nothing at all.

    The word is that of the first take that has one (a later take has been warmed up by the first). It is
    lowered to what the clean share bears out. Without any count, or without a word, `held` is the most.
    """
    if len(takes) == 1:
        return stands_alone(takes[0])
    clean, weight = counted(takes)
    return _borne_out(next((t.verdict for t in takes if t.verdict), None), clean, weight, any(map(_by_hand, takes)))


def stands_alone(take: TakeSummary) -> str | None:
    """The verdict that one take supports by itself (see `stands`)."""
    if take.cleans:
        return _by_passes(take.verdict, take.cleans)
    return _borne_out(take.verdict, *counted((take,)), _by_hand(take))


@lru_cache(maxsize=1 << 12)
def _by_passes(word: str | None, cleans: bytes) -> str | None:
    return _borne_out(word, sum(cleans), len(cleans), False)


def _borne_out(word: str | None, clean: float, weight: int, by_hand: bool) -> str | None:
    """The word as far as `clean` of so many passes bear it out; whether some were written down by hand."""
    if not weight:
        return None if word is None else VERDICTS[min(VERDICT_PLACES[word], _HELD_PLACE)]
    share = clean / weight
    place = 3 if share >= _FLOWING else 2 if share >= _HELD else 1 if share >= _SHAKY else 0
    if place > _HELD_PLACE and (word is None or (weight < ENOUGH_PASSES and not by_hand)):
        place = _HELD_PLACE
    if word is not None and VERDICT_PLACES[word] < place:
        return word
    return VERDICTS[place]


def standing(takes: Sequence[Take]) -> str | None:
    """The verdict these takes of one drill support (see `stands`)."""
    return stands([summarize(t) for t in takes]) if takes else None


def held_tempo(take: TakeSummary, layer: str, held: bool | None = None) -> float | None:
    """The fastest tempo in bpm that a held take had clean on `layer`; None when it had none.

    `held`: whether it was held, where that has been found out already.
    """
    if not (stands_alone(take) in HELD if held is None else held):
        return None
    if take.layers is not None:
        return max(take.on(layer)[0], default=None)
    if take.layer != layer:
        return None
    if 0 not in take.cleans:
        return take.tempo
    return max(compress(take.tempos, take.cleans), default=None)


def lost_tempo(take: TakeSummary, layer: str) -> float | None:
    """The mean tempo in bpm of a take's stumbled passes on `layer`; None when it had none."""
    if take.layers is None and (take.layer != layer or 0 not in take.cleans):
        return None
    stumbled = take.on(layer)[1]
    return math.fsum(stumbled) / len(stumbled) if stumbled else None
