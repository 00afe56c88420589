"""Drills that have the voice in them: what their ids say of it, and what a take of one counts as.

A sung drill is whole when it is sung. So a pass under the voice counts as its full layer whatever the picking did,
but for one that is to be sung over all of it; a pass without the voice is another and easier thing, like the thumb
alone of a pattern.
"""

from __future__ import annotations

from functools import lru_cache

from coach.log.takes import FULL, MODES, THUMB

PART, SPOKEN = "part", "spoken"
SING, SING_FULL = "sing", "sing-full"
"""How the id of a sung drill ends: over the singing layer, over all of it."""

_PLAY, _SING = MODES


@lru_cache(maxsize=1 << 16)
def voice_of(drill: str) -> str:
    """SING, SING_FULL or SPOKEN for a drill that has the voice in it, "" for any other; told from its id alone."""
    words = drill.split("/")
    if len(words) < 3 or not words[1]:
        return ""
    if words[2] == SPOKEN and len(words) > 3:
        return SPOKEN
    # A part may itself be called `sing`.
    named = words[2] == PART and len(words) == 4
    return words[-1] if words[-1] in (SING, SING_FULL) and not named else ""


@lru_cache(maxsize=1 << 16)
def counted_as(drill: str, mode: str, layer: str) -> tuple[str, str]:
    """(mode, layer) that a pass of a drill counts as, where `mode` and `layer` are those it was played in."""
    voice = voice_of(drill)
    if not voice:
        return mode, layer
    if mode == _PLAY:
        return _PLAY, THUMB
    return (_PLAY, FULL) if voice != SING_FULL or layer == FULL else (_SING, layer)
