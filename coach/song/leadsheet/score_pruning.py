"""What is read of a score's voice, and how much of it there may be: all else is taken out before it is parsed.

music21 makes objects of all it finds, and some of them (slurs that never end, grace notes, dynamics) cost it time that
grows with the square of their number. A chart has no place for them; so they go first, and what stays is counted.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from coach.errors import BadInput
from coach.song.leadsheet.chord_symbols_in import number_of

MOST_NOTES_IN_BAR = 300
MOST_NOTES = 4_000
MOST_SIGNS = 2_000
"""Meters, keys, tempos, words over the staff, repeats and the like, in all bars."""
MOST_SYLLABLES = 12_000
MOST_REPEATS = 30
"""Times round by repeat signs, over all of it; unfolding costs music21 as many copies of the whole sheet."""

# The children that are kept, by their parent.
_KEPT = {
    "measure": {"note", "backup", "forward", "attributes", "direction", "barline", "sound"},
    "note": {"chord", "cue", "pitch", "rest", "unpitched", "duration", "tie", "voice", "type", "dot",
             "time-modification", "staff", "notations", "lyric"},
    "notations": {"tied", "articulations"},
    "articulations": {"breath-mark"},
    "attributes": {"divisions", "key", "time", "staves", "transpose"},
    "direction": {"direction-type", "offset", "sound", "staff", "voice"},
    "direction-type": {"rehearsal", "segno", "coda", "words", "metronome"},
}  # fmt: skip


def prune(measures: Sequence[ET.Element]) -> list[str]:
    """Take out what is not read; what of it a player may miss, a sentence each. Raises BadInput for too much of it."""
    notes = signs = syllables = repeats = 0
    grace = False
    for number, measure in enumerate(measures, start=1):
        here = measure.findall("note")
        if len(here) > MOST_NOTES_IN_BAR:
            raise _too_many(f"{len(here)} notes in one bar", MOST_NOTES_IN_BAR).at(f"bar {number}")
        notes += len(here)
        for note in here:
            if note.find("grace") is not None:
                measure.remove(note)
                grace = True
        _keep(measure)
        for direction in measure.findall("direction"):
            _drop_empty(direction, "direction-type")
        _drop_empty(measure, "direction")
        signs += sum(len(e) or 1 for e in measure if e.tag in ("attributes", "direction", "barline", "sound"))
        for sign in measure.findall("barline/repeat[@direction='backward']"):
            repeats += max(int(number_of(sign.get("times", "2"))) - 1, 1)
        syllables += sum(1 for _ in measure.iter("lyric"))
        if notes > MOST_NOTES:
            raise _too_many(f"more than {MOST_NOTES} notes", MOST_NOTES)
        if signs > MOST_SIGNS:
            raise _too_many(f"more than {MOST_SIGNS} signs over its bars", MOST_SIGNS)
        if syllables > MOST_SYLLABLES:
            raise _too_many(f"more than {MOST_SYLLABLES} syllables", MOST_SYLLABLES)
        if repeats > MOST_REPEATS:
            raise _too_many(f"more than {MOST_REPEATS} repeats", MOST_REPEATS)
    return ["grace notes are left out"] if grace else []


def _too_many(what: str, most: int) -> BadInput:
    return BadInput(f"{what} are more than a lead sheet has", mend=f"export the voice alone ({most} at most)")


def _keep(element: ET.Element) -> None:
    kept = _KEPT.get(element.tag)
    if kept is None:
        return
    element[:] = [child for child in element if child.tag in kept]
    for child in element:
        _keep(child)


def _drop_empty(element: ET.Element, tag: str) -> None:
    """Take out the children of this kind that hold nothing any more."""
    element[:] = [child for child in element if child.tag != tag or len(child)]
