"""The player's repertoire: what the pattern library holds, as the materials drills are made of."""

from __future__ import annotations

from coach.picking.library import Library
from coach.picking.pattern import Pattern, difficulty
from coach.practice.drills import Drill, Material, drills_from


def material(pattern: Pattern) -> Material:
    """What practice needs to know of a pattern."""
    return Material(
        id=pattern.id,
        title=pattern.title,
        meter=str(pattern.meter),
        slots=pattern.slots,
        beats=pattern.meter.beats,
        grows_from=pattern.grows_from or None,
        tags=pattern.tags,
        difficulty=difficulty(pattern),
        chords=pattern.chords,
    )


def drills_of(library: Library) -> tuple[Drill, ...]:
    """A drill for each pattern of the library, in ladder order."""
    return drills_from(material(pattern) for pattern in library.patterns.values())
