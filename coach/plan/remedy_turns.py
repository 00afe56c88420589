"""A turn as the remedy has it that is under way for its drill."""

from __future__ import annotations

from dataclasses import replace

from coach.drills.corners import make_corner
from coach.drills.pattern_drills import Drill
from coach.errors import CoachError
from coach.music.ramps import IN_TURNS
from coach.music.tempo import SLOWEST_BPM
from coach.picking.layers import Layer
from coach.picking.pattern_library import Library
from coach.plan.planner import Block
from coach.skill.remedies import ALTERNATE, CORNER, SLOWER, THINNER, THUMB, Finding

FULL_DOWN = tuple(reversed(Layer))
SLOWER_SHARE = 0.88
"""A remedy's slower tempo, as a share of the one the turn would be begun at: about three steps (ours, no source)."""
_USUAL_BEATS = 4


def shape_turn(block: Block, drill: Drill, finding: Finding, library: Library) -> Block:
    """The block with the remedy of `found` in it: slower, a layer thinner, the thumb alone, a slow and a fast tempo in
    turns, or the corner in the place of the whole. As it was where the remedy is of another kind, and where the turn is
    over before a slow pass is. Raises CoachError when a corner cannot be made.
    """
    low = block.tempo_from or drill.start_bpm
    slower = max(round(low * SLOWER_SHARE), SLOWEST_BPM)
    if finding.remedy == SLOWER:
        return replace(block, tempo_from=slower, tempo_to=low)
    if finding.remedy in (THUMB, THINNER):
        return replace(block, layer=FULL_DOWN[-1] if finding.remedy == THUMB else FULL_DOWN[1])
    if finding.remedy == ALTERNATE and _pass_minutes(drill, library, slower) < block.minutes:
        fast = max(block.tempo_to or low, low)
        return replace(block, tempo_from=slower, tempo_to=fast, ramp=IN_TURNS)
    if finding.remedy == CORNER and finding.trouble is not None:
        small = make_corner(drill, library.find(drill.pattern), finding.trouble.spot.bar)
        return replace(block, drill=small.id, title=small.title, tempo_from=slower)
    return block


def _pass_minutes(drill: Drill, library: Library, bpm: int) -> float:
    """About how long one pass of a drill takes: its bars as its chords have them, each as long as its pattern's."""
    pattern = library.patterns.get(drill.pattern)
    beats = pattern.meter.beats if pattern is not None else _USUAL_BEATS
    return (drill.chords.strip("| ").count("|") + 1) * beats / bpm


def apply_remedy(block: Block, drill: Drill, finding: Finding, library: Library) -> Block:
    """The block of a plan under a remedy the player took up, with a reason that says so; else as it was."""
    if not finding.under_way or finding.course is None or not finding.remedy_words:
        return block
    try:
        made = shape_turn(block, drill, finding, library)
    except CoachError:  # the pattern is there no more
        return block
    if made == block:
        return block
    day = finding.course.day
    return replace(made, why=(f"under way since {day.day} {day:%B}: {finding.remedy_words}", *block.why))
