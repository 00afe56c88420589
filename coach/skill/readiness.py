"""How far a song is, drill by drill: the tempo it is held at, whether it is new, kept up or fading, in words.

`Verse: steady at 84 of 92; Chorus: being learned; sung: new.`
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from coach.drills.drill_id import DrillId, Kind, Voice
from coach.drills.pattern_drills import Drill
from coach.skill.history import Past
from coach.skill.memory import is_due, recall, state_word
from coach.skill.steady_tempo import SteadyTempo

FADING = 0.85
"""Recall below which what was held is said to fade (ours, no source)."""
PLAYED = "played"
WAYS = (PLAYED, Kind.SPOKEN, Voice.SING, Voice.SING_FULL)
"""What can be done with a part or the whole: played, its words spoken over the thumb, sung, sung over all of it."""

NEW, BEGUN, HELD, STEADY, READY = "new", "begun", "held", "steady", "ready"
"""Never played; played and not yet held; held at a tempo; held there 8 times in 10; that at its own tempo."""


@dataclass(frozen=True)
class DrillState:
    """One drill as it stands.

    how      NEW, BEGUN, HELD, STEADY or READY
    bpm      the tempo it is held at, None before
    fades    it was held and is no longer safely remembered, or should have come back by today
    learned  `being learned` or `kept up`, as the memory has it
    last     the local day it was last played
    """

    drill: Drill
    how: str = NEW
    bpm: float | None = None
    fades: bool = False
    learned: str = NEW
    last: date | None = None

    @property
    def words(self) -> str:
        """`steady at 84 of 92, fading`."""
        target = self.drill.target_bpm
        told = {
            NEW: "new",
            BEGUN: "being learned",
            HELD: f"held at {self.bpm or 0:.0f} of {target}",
            STEADY: f"steady at {self.bpm or 0:.0f} of {target}",
            READY: f"ready at {target}",
        }[self.how]
        return f"{told}, fading" if self.fades else told


def stands(drill: Drill, past: Past | None, steady: SteadyTempo | None, today: date) -> DrillState:
    """How a drill stands on a local day, from its past and its steady tempo where these are known."""
    if past is None:
        return DrillState(drill)
    now = recall(past.memory, today)
    held = past.held_day is not None
    fades = held and (is_due(past.memory, today) or (now is not None and now < FADING))
    bpm = steady.bpm if steady is not None else past.full.bpm
    how = BEGUN if bpm is None else STEADY if steady is not None else HELD
    if bpm is not None and held and bpm >= drill.target_bpm:
        how = READY
    return DrillState(drill, how, bpm, fades, state_word(past.memory, today), past.last_day)


@dataclass(frozen=True)
class ReadinessRow:
    """One line of a song: a part, the whole, a change, a pattern or a corner, and how each way of it stands."""

    kind: Kind
    name: str
    ways: Mapping[str, DrillState]

    @property
    def first(self) -> DrillState:
        """The plainest way of it."""
        return next(self.ways[way] for way in WAYS if way in self.ways)


def make_rows(all_stands: Iterable[DrillState], arrangement: str) -> list[ReadinessRow]:
    """The lines of an arrangement: parts in the order they are sung, the whole song, corners, changes, patterns."""
    found: dict[tuple[int, Kind, str], dict[str, DrillState]] = {}
    for one in all_stands:
        asked = one.drill.parsed_id
        if not asked.names_song_drill or asked.arrangement != arrangement:
            continue
        kind = Kind.PART if asked.kind == Kind.SPOKEN else asked.kind
        way = Kind.SPOKEN if asked.kind == Kind.SPOKEN else asked.voice or PLAYED
        found.setdefault((_ORDER.index(kind), kind, _name(asked)), {})[way] = one
    order = sorted(found, key=lambda key: key[0])  # within a kind as they came
    return [ReadinessRow(kind, name, found[place, kind, name]) for place, kind, name in order]


_ORDER = (Kind.PART, Kind.SONG, Kind.CORNER, Kind.CHANGE, Kind.PATTERN)


def _name(asked: DrillId) -> str:
    if asked.kind == Kind.CORNER:
        return f"{asked.name}, bar {asked.bar}".removeprefix(", ")
    return asked.name.replace("-", " to ") if asked.kind == Kind.CHANGE else asked.name or "whole song"


def readiness(rows: Sequence[ReadinessRow]) -> str:
    """An arrangement in one sentence: each part, then the voice, then the whole where it was played."""
    parts = [row for row in rows if row.kind == Kind.PART]
    whole = next((row for row in rows if row.kind == Kind.SONG), None)
    told = [f"{row.name}: {row.ways[PLAYED].words}" for row in parts if PLAYED in row.ways]
    sung = [row.ways[Voice.SING] for row in parts if Voice.SING in row.ways]
    if sung:
        told.append(f"sung: {_together(sung)}")
    if whole is not None and whole.first.how != NEW:
        told.append(f"whole song: {whole.first.words}")
    return "; ".join(told)


def _together(sung: Sequence[DrillState]) -> str:
    """Of several parts how many are held; in full words where there is one."""
    if len(sung) == 1 or all(one.how == NEW for one in sung):
        return sung[0].words
    held = sum(one.how in (HELD, STEADY, READY) for one in sung)
    return f"{held} of {len(sung)} parts held"


def choose_next(rows: Sequence[ReadinessRow]) -> DrillState | None:
    """What is next to play of an arrangement: what fades most, else the first that is not at its tempo yet."""
    every = [one for row in rows for one in row.ways.values()]
    fading = [one for one in every if one.fades]
    if fading:
        return min(fading, key=lambda one: one.last or date.min)
    return next((one for one in every if one.how not in (NEW, READY)), next(iter(every), None))
