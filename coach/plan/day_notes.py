"""What a day asks of its plan beside takes and minutes: the player's wishes, care after pain, troubles that press.

All of it comes from the ledger's notes and stumbles; the plan made under it says so in its reasons and notes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from coach.drills.pattern_drills import Drill
from coach.log.ledger import Ledger
from coach.log.local_days import told_minutes
from coach.log.notes import NoteKind
from coach.log.playing_time import Playing
from coach.picking.layers import FULL
from coach.picking.pattern_library import Library
from coach.plan.care import Care, care_of
from coach.plan.checkup import PieceOf, findings, pressing, taken_courses
from coach.plan.listening import heard_today
from coach.plan.need import Reason
from coach.plan.planner import PLAY, Block, Plan
from coach.plan.remedy_turns import apply_remedy
from coach.plan.song_steps import make_song_corners
from coach.plan.turns import checked_minutes
from coach.plan.wishes import Wishes, wishes_of
from coach.skill.remedies import Finding, resting

Pressing = Mapping[str, Sequence[Reason]]


@dataclass(frozen=True)
class DayNotes:
    """`wishes` of today, `care` after pain, `pressing` reasons by drill, `rested` drills that a remedy keeps out,
    `heard` drills that were listened to, `corners` of songs that are drills of their own today,
    what was `found` of each drill."""

    wishes: Wishes = field(default_factory=Wishes)
    care: Care = field(default_factory=Care)
    pressing: Pressing = field(default_factory=dict)
    rested: frozenset[str] = frozenset()
    heard: frozenset[str] = frozenset()
    corners: tuple[Drill, ...] = ()
    found: Mapping[str, Finding] = field(default_factory=dict)


def read_day(
    ledger: Ledger, drills: Sequence[Drill], library: Library, today: date, piece_of: PieceOf | None = None
) -> DayNotes:
    """What the ledger asks of a local day's plan; of parts and whole songs with `piece_of`. Raises CoachError.

    What gathers in a corner of a song is told of that corner, not of its part as well.
    """
    found = findings(ledger, drills, library, today, curves=False, piece_of=piece_of)
    corners = make_song_corners(found, drills)
    pressed = {drill: why for drill, why in pressing(found).items() if drill not in corners}
    pressed |= {corner.id: (why,) for corner, why in corners.values()}
    return DayNotes(
        wishes_of(ledger.notes(NoteKind.WISH), today),
        care_of([*ledger.notes(NoteKind.PAIN), *ledger.notes(NoteKind.PAIN_BY_MISTAKE)], today),
        pressed,
        resting(taken_courses(ledger), today),
        heard_today(ledger.notes(NoteKind.LISTENED), today),
        tuple({corner.id: corner for corner, _ in corners.values()}.values()),
        found,
    )


def plan_under(
    day: DayNotes,
    minutes: int,
    drills: Sequence[Drill],
    make: Callable[[int, Wishes, Pressing], Plan],
    library: Library | None = None,
    playing: Playing | None = None,
) -> Plan:
    """The plan that `make` gives for so many minutes under a day's notes, with notes that say what those did; the first
    turn of a drill with a remedy under way is that remedy, where there is a `library`.

    On a day of pain there is none to make. Wished minutes stand before those given, care before both; in the days after
    pain what was just played (`playing`) counts. A drill that a remedy rests stays out unless the player calls it.
    Raises what `make` raises.
    """
    care, wishes = day.care, day.wishes
    if care.stopped:
        return Plan(0, (), care.words, stopped=True)
    called = {*wishes.pinned, *(into for _, into in wishes.swapped)}
    rested = tuple(sorted(day.rested - called - set(wishes.skipped)))
    most = care.most(wishes.minutes or checked_minutes(minutes), playing)
    if not most and playing is not None:
        return Plan(0, (), (*care.words, care.wait(playing)))
    made = make(most, replace(wishes, minutes=None, skipped=(*wishes.skipped, *rested)), day.pressing)
    titles = {d.id: d.title for d in drills}
    notes = list(care.words)
    if wishes.skipped:
        notes.append(f"Left out today, as you asked: {_titles(wishes.skipped, titles)}.")
    if rested:
        notes.append(f"Resting: {_titles(rested, titles)}.")
    if wishes.minutes is not None and made.minutes == wishes.minutes:
        notes.append(f"{told_minutes(wishes.minutes)} today, as you asked.")
    # What care has said already need not be said again.
    blocks = made.blocks if library is None else _remedied(made.blocks, day.found, drills, library)
    return Plan(made.minutes, blocks, (*notes, *(n for n in made.notes if n not in notes)))


def _remedied(
    blocks: Sequence[Block], found: Mapping[str, Finding], drills: Sequence[Drill], library: Library
) -> tuple[Block, ...]:
    """The blocks with the first full turn of each drill that has a remedy under way given to it."""
    left = {d.id: d for d in drills if d.id in found and found[d.id].under_way}
    made = list(blocks)
    for place, block in enumerate(blocks):
        if block.kind == PLAY and block.layer == FULL and (drill := left.pop(block.drill or "", None)) is not None:
            made[place] = apply_remedy(block, drill, found[drill.id], library)
    return tuple(made)


def _titles(drills: Sequence[str], titles: Mapping[str, str]) -> str:
    return ", ".join(titles.get(drill, drill) for drill in drills)
