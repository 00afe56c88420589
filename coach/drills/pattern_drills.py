"""Drills: what is practised. For a picking pattern that is the pattern with a chord loop, a start and a target tempo.

Patterns grow from one another: a ladder. Its foot is the first rung, and a pattern stands one rung above the one it
grows from. `drills_from` puts the rungs in an order in which each comes after what it grows from, easier first.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from coach.drills.drill_id import DrillId, Kind
from coach.errors import BadInput

STEP_SHARE = 0.03
"""Tempo step as a share: 3 to 5 % is just felt, under 1.5 % is not (Drake & Botte 1993, Percept. Psychophys. 54)."""

LEAST_STEP, MOST_STEP = 0.015, 0.05


@dataclass(frozen=True)
class Material:
    """What a pattern file says, as far as practice needs it.

    slots per bar and beats per bar give how fast it moves; `grows_from` is the pattern below it on the ladder;
    `difficulty` only orders (higher is harder); `chords` is the loop it is made for, "" when any will do.
    """

    id: str
    title: str
    meter: str
    slots: int
    beats: int
    grows_from: str | None = None
    tags: tuple[str, ...] = ()
    difficulty: float = 0.0
    chords: str = ""


@dataclass(frozen=True)
class Drill:
    """A thing being practised.

    chords         the loop, bars parted by `|`
    target_bpm     where it is meant to go; start_bpm where it begins when nothing is known
    step_share     one tempo step as a share of the tempo, 0.015 to 0.05
    family         the lowest rung of its own meter on its ladder: members are much alike
    grows_from     the drill below it on the ladder, None on the first rung
    slots_per_beat how finely the beat is cut
    due            the local day by which it must be ready, None when there is none
    resting        put aside for now: it keeps its takes and is not planned
    """

    id: str
    title: str
    kind: Kind
    pattern: str
    chords: str
    target_bpm: int
    start_bpm: int
    step_share: float
    family: str
    grows_from: str | None
    slots_per_beat: Fraction
    difficulty: float
    due: date | None = None
    resting: bool = False

    def __post_init__(self) -> None:
        if not LEAST_STEP <= self.step_share <= MOST_STEP:
            raise BadInput(f"a step of {self.step_share:.1%} is out of range", where=self.id, mend="use 1.5 % to 5 %")

    @property
    def parsed_id(self) -> DrillId:
        """Its id taken apart."""
        return DrillId.parse(self.id)

    @property
    def song(self) -> str:
        """The id of the song it is of, "" for a pattern's own drill."""
        return self.parsed_id.song


# Slots per beat up to this, start and target in bpm (common practice, no source; within the 60 to 140 that
# the screens offer: no published tempo range for alternating bass was found).
_TEMPOS = ((1, 72, 126), (2, 66, 104), (3, 60, 92))
_FINEST = (60, 80)

# Loops by rung: open chords only, one change more on each (common practice, no source; invented here).
_LOOPS = ("C | Am", "C | G | Am | G", "C | Am | Dm | G")


def make_drills(materials: Iterable[Material]) -> tuple[Drill, ...]:
    """A drill for each pattern, ladder order: what it grows from first, then easier, then by id.

    A parent that is not there makes a first rung; so does the easiest pattern of a circle. Raises BadInput on two
    patterns of one id or a pattern without beats or slots.
    """
    by_id: dict[str, Material] = {}
    for material in materials:
        if material.id in by_id:
            raise BadInput(f"two patterns are called '{material.id}'", mend="rename one of the files")
        if material.slots < 1 or material.beats < 1:
            raise BadInput("a pattern needs at least one slot and one beat", where=material.id, mend="mend its file")
        by_id[material.id] = material
    parents = _parents(by_id)
    children: dict[str | None, list[str]] = defaultdict(list)
    for id_, parent in parents.items():
        children[parent].append(id_)

    made: dict[str, Drill] = {}
    rung: dict[str, int] = {}
    ready = [(by_id[id_].difficulty, id_) for id_ in children[None]]
    heapq.heapify(ready)
    while ready:
        _, id_ = heapq.heappop(ready)
        below = parents[id_]
        rung[id_] = 0 if below is None else rung[below] + 1
        like_below = below is not None and by_id[below].meter == by_id[id_].meter
        made[id_] = _drill(by_id[id_], below, made[below].family if below and like_below else id_, rung[id_])
        for child in children[id_]:
            heapq.heappush(ready, (by_id[child].difficulty, child))
    return tuple(made.values())


def _parents(by_id: dict[str, Material]) -> dict[str, str | None]:
    """What each pattern grows from, with missing parents left out and each circle opened at its easiest member."""
    parents = {m.id: m.grows_from if m.grows_from in by_id else None for m in by_id.values()}
    for start in sorted(parents):
        path: list[str] = []
        step: str | None = start
        while step is not None and step not in path:
            path.append(step)
            step = parents[step]
        if step is not None:
            circle = path[path.index(step) :]
            parents[min(circle, key=lambda id_: (by_id[id_].difficulty, id_))] = None
    return parents


def _drill(material: Material, below: str | None, family: str, rung: int) -> Drill:
    pace = Fraction(material.slots, material.beats)
    start, target = next(((s, t) for limit, s, t in _TEMPOS if pace <= limit), _FINEST)
    return Drill(
        id=material.id,
        title=material.title,
        kind=Kind.PATTERN,
        pattern=material.id,
        chords=material.chords or _LOOPS[min(rung, len(_LOOPS) - 1)],
        target_bpm=target,
        start_bpm=start,
        step_share=STEP_SHARE,
        family=family,
        grows_from=below,
        slots_per_beat=pace,
        difficulty=material.difficulty,
    )
