"""What a take proves: the share of clean passes first, the player's word second.

How easy practice feels predicts badly what stays: players believed the order that taught them less (Abushanab &
Bishara 2013, Mem. Cognit. 41:928-937), and what stayed went with the share of correct trials, not with minutes
or counts (Duke, Simmons & Cash 2009, JRME 56:310-321). So the word can lower what the passes say, never raise it.
"""

from __future__ import annotations

from collections.abc import Sequence

from coach.practice.takes import VERDICTS, Take

# The least share of clean passes at which each verdict is believed. 0.7 leaves room below the 8 in 10 that the
# ramp aims at (Kaernbach 1991 at p = 0.8); the rest is ours, no source.
_BELIEVED = {"flowing": 0.9, "held": 0.7, "shaky": 0.4}
HELD = ("held", "flowing")
"""The verdicts of what was held."""
ENOUGH_PASSES = 3
"""With fewer passes than this nothing is believed to flow: one lucky time round proves little (ours, no source)."""


def clean_share(takes: Sequence[Take]) -> float | None:
    """Share of clean passes over all of `takes`, 0 to 1; None where nothing was counted.

    A take logged by hand has no passes; it counts as one, clean by its share of bars without a stumble.
    """
    clean = weight = 0.0
    for take in takes:
        if take.passes:
            clean += sum([p.clean for p in take.passes])
            weight += len(take.passes)
        elif take.bars:
            clean += 1 - min(take.stumbles, take.bars) / take.bars
            weight += 1
    return clean / weight if weight else None


def standing(takes: Sequence[Take]) -> str | None:
    """The verdict these takes of one drill support; None when they say nothing at all.

    The word is that of the first take that has one (a later take has been warmed up by the first). It is
    lowered to what the clean share bears out. Without any count, or without a word, `held` is the most.
    """
    word = next((t.verdict for t in takes if t.verdict), None)
    share = clean_share(takes)
    if share is None:
        return None if word is None else min(word, "held", key=VERDICTS.index)
    shown = next((v for v, least in _BELIEVED.items() if share >= least), "lost")
    counted = sum(len(t.passes) for t in takes)
    by_hand = any(not t.passes and t.bars for t in takes)
    if word is None or (counted < ENOUGH_PASSES and not by_hand):
        shown = min(shown, "held", key=VERDICTS.index)
    return min(shown, word or shown, key=VERDICTS.index)


def was_held(take: Take) -> bool:
    """True when the take, word and count together, stands at `held` or better."""
    return standing((take,)) in HELD


def held_tempo(take: Take, layer: str, held: bool | None = None) -> float | None:
    """The fastest tempo in bpm that a held take had clean on `layer`; None when it had none.

    `held`: whether it was held, where that has been found out already.
    """
    if not (was_held(take) if held is None else held):
        return None
    if not take.passes:
        return take.tempo if take.layer == layer else None
    return max([p.tempo for p in take.passes if p.clean and p.layer == layer], default=None)
