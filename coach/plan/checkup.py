"""The diagnosis of every drill from the ledger as it is: what the plan, the lists and the progress page say of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta

from coach.drills.drill_id import DrillId
from coach.drills.loop_map import LoopMap, map_pattern, map_piece
from coach.drills.pattern_drills import Drill
from coach.errors import BadInput, CoachError
from coach.log.ledger import Ledger
from coach.log.local_days import from_utc_text
from coach.log.notes import NoteKind
from coach.log.readable_rows import READABLE
from coach.log.takes import Stumble, Take
from coach.picking.pattern_library import Library
from coach.plan.need import Reason
from coach.skill.diagnosis import LATELY_DAYS, LATELY_TAKES, LEAST_HITS, Trouble, gathered
from coach.skill.plateau import curve
from coach.skill.remedies import Course, Finding, courses, finding
from coach.song.cuts import cut_bars, part_span
from coach.song.piece import Piece

PieceOf = Callable[[str, str], Piece | None]
"""The piece of a song (its id) in an arrangement, None where it cannot be had."""

_AN_OFFSET = timedelta(days=1)
_PRESSES = 1.0  # points of a trouble towards a turn; as much as being due (ours, no source)


def map_drill(drill: Drill, library: Library, piece_of: PieceOf | None = None) -> LoopMap | None:
    """Where a drill's stumbles lie: its pattern on its chords, or for a part or a whole song what `piece_of` gives.

    None where pattern, chords or song cannot be read, and for a song's part without `piece_of`.
    """
    if not drill.kind.traits.on_chords:
        return _map_of_song(drill.parsed_id, piece_of) if piece_of is not None else None
    pattern = library.patterns.get(drill.pattern)
    if pattern is None:
        return None
    try:
        return map_pattern(pattern, drill.chords)
    except CoachError:
        return None


def _map_of_song(asked: DrillId, piece_of: PieceOf) -> LoopMap | None:
    piece = piece_of(asked.song, asked.arrangement) if asked.names_song_drill else None
    if piece is None or not piece.bars:
        return None
    try:
        return map_piece(cut_bars(piece, *part_span(piece, asked.name)).bars if asked.name else piece.bars)
    except BadInput:
        return None


def late_stumbles(ledger: Ledger, today: date) -> dict[str, list[Stumble]]:
    """The stumbles of each drill's latest takes on its own chords (as diagnosis.lately has them), by drill."""
    since = today - timedelta(LATELY_DAYS - 1)
    rows = ledger.rows(
        "SELECT t.drill, s.take, s.at, s.bar, s.beat, s.tempo, s.pass_no FROM ("
        " SELECT id, drill, row_number() OVER (PARTITION BY drill ORDER BY at DESC, id DESC) AS lately"
        f" FROM {READABLE['takes']} WHERE at >= ? AND local_day BETWEEN ? AND ?"
        f" AND id NOT IN (SELECT take FROM {READABLE['notes']} WHERE kind = ? AND take IS NOT NULL)"
        f") t JOIN {READABLE['stumbles']} s ON s.take = t.id WHERE t.lately <= {LATELY_TAKES} ORDER BY s.at, s.id",
        (since - _AN_OFFSET).isoformat(),  # by the index of moments; a local day begins up to 14 hours apart from UTC's
        since.isoformat(),
        today.isoformat(),
        NoteKind.OTHER_CHORDS,
    )
    by_drill: dict[str, list[Stumble]] = defaultdict(list)
    for drill, take, at, *rest in rows:
        by_drill[drill].append(Stumble(take, from_utc_text(at), *rest))
    return dict(by_drill)


def troubles(
    ledger: Ledger, drills: Iterable[Drill], library: Library, today: date, piece_of: PieceOf | None = None
) -> dict[str, Trouble]:
    """Where the stumbles of each drill gather, for those drills where that can be told; parts and whole songs with
    `piece_of`, which is asked only where there are stumbles enough. Raises CoachError."""
    late = late_stumbles(ledger, today)
    by_drill: dict[str, Trouble] = {}
    for drill in drills:
        own = late.get(drill.id, ())
        if len(own) < LEAST_HITS or (loop := map_drill(drill, library, piece_of)) is None:
            continue
        trouble = gathered(loop.counts(own), loop)
        if trouble is not None:
            by_drill[drill.id] = trouble
    return by_drill


def taken_courses(ledger: Ledger) -> dict[str, list[Course]]:
    """The remedies the player took up, by drill, in order. Raises CoachError."""
    return courses([*ledger.notes(NoteKind.REMEDY_CHOSEN), *ledger.notes(NoteKind.REMEDY_DROPPED)])


def findings(
    ledger: Ledger,
    drills: Sequence[Drill],
    library: Library,
    today: date,
    takes: Mapping[str, Sequence[Take]] | None = None,
    *,
    curves: bool = True,
    piece_of: PieceOf | None = None,
) -> dict[str, Finding]:
    """What is to be said of every drill of which there is something to say. Raises CoachError.

    `takes` by drill where they have been read already. `curves` False leaves the plateaus out: they take some tens of
    milliseconds for each drill, which a plan has no use for.
    """
    troubled, taken = troubles(ledger, drills, library, today, piece_of), taken_courses(ledger)
    by_drill: dict[str, Finding] = {}
    for drill in drills:
        own = taken.get(drill.id, [])
        if not (curves or own or drill.id in troubled):
            continue
        played = (takes.get(drill.id, ()) if takes is not None else ledger.takes(drill.id)) if curves or own else ()
        own_finding = finding(
            drill.id,
            troubled.get(drill.id),
            curve(played) if curves else None,
            own,
            played,
            drill.target_bpm,
            today,
        )
        if own_finding.lines:
            by_drill[drill.id] = own_finding
    return by_drill


def pressing(by_drill: Mapping[str, Finding]) -> dict[str, tuple[Reason, ...]]:
    """What the findings say to the plan: the trouble and its one remedy, as a reason for a turn."""
    return {
        drill: (Reason(_PRESSES, "; ".join(own_finding.lines[:2])),)
        for drill, own_finding in by_drill.items()
        if own_finding.trouble is not None
    }
