"""What a take of a drill counts as where the voice belongs to the drill: sung, or its words spoken.

A sung drill is whole when it is sung. So a pass under the voice counts as its full layer whatever the picking did,
but for one that is to be sung over all of it; a pass without the voice is another and easier thing, like the thumb
alone of a pattern.
"""

from __future__ import annotations

from functools import lru_cache

from coach.drills.drill_id import DrillId, Voice
from coach.log.takes import Mode
from coach.picking.layers import FULL, THUMB


@lru_cache(maxsize=1 << 16)
def find_counted_layer(drill: str, mode: str, layer: str) -> tuple[str, str]:
    """(mode, layer) that a pass of a drill counts as, where `mode` and `layer` are those it was played in."""
    asked = DrillId.parse(drill)
    if not asked.has_voice:
        return mode, layer
    if mode == Mode.PLAY:
        return Mode.PLAY, THUMB
    return (Mode.PLAY, FULL) if asked.voice != Voice.SING_FULL or layer == FULL else (Mode.SING, layer)
