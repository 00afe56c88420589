"""A take that was heard goes into the ledger, as evidence beside what the player marks himself.

One take, with a pass for each time round: clean where nothing was missed, wrong, extra or waited for. Its moment is
that of the file less its length. A note with the digest of the file's bytes goes with it, so that the same recording is
not logged twice, whatever it is called and whenever it was copied.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

from coach import places, shelf
from coach.ear.heard import HIT
from coach.ear.report import Report
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.music.chords import read_bars
from coach.picking.pattern import Pattern

"""The kind of the note of a take that was heard; its text is the recording's digest (SHA-256)."""

_LEAST_SHARE = Fraction(1, 3)  # of the plucks: with fewer hits it is not sure that this was the pattern at all
_TOLD_SHARE = Fraction(1, 2)  # of a round's plucks: with fewer told the round is left out (it was not played)


def log_heard(
    found: Report,
    path: Path,
    seconds: float,
    pattern: Pattern,
    chords: str,
    round_bars: int,
    loops: int,
    bpm: Fraction,
    layer: str,
) -> tuple[bool, str]:
    """Log the take; (whether it was, the sentence that says so or why not). Raises CoachError."""
    library = shelf.library()
    if library.patterns.get(pattern.id) != pattern:
        return False, f"not logged: '{pattern.id}' is not among the drills; put its file into your patterns first."
    plucks = found.heard.plucks
    hits = sum(p.status == HIT for p in plucks)
    if hits < _LEAST_SHARE * len(plucks):
        return False, f"not logged: only {hits} of {len(plucks)} plucks were recognised."
    drill = next(d for d in shelf.drills_here(library) if d.id == pattern.id)
    digest = _digest(path)
    begun = datetime.fromtimestamp(path.stat().st_mtime).astimezone() - timedelta(seconds=seconds)
    with Ledger(places.ledger()) as ledger:
        if any(note.text == digest for note in ledger.notes(NoteKind.RECORDING)):
            return False, "not logged: this recording is in the log already."
        take = ledger.begin_take(drill.id, bpm, layer, begun)
        ledger.add_note(NoteKind.RECORDING, digest, take, begun)
        if read_bars(chords) != read_bars(drill.chords):
            ledger.add_note(NoteKind.OTHER_CHORDS, chords, take, begun)
        slips = Counter(slip.bar // round_bars for slip in found.stumbles)
        number = 0
        for time in range(loops):
            mine = [p for p in plucks if p.meant.bar // round_bars == time]
            sounded = [p for p in mine if p.time_s is not None]
            if len(sounded) < _TOLD_SHARE * len(mine):
                continue  # broken off, or begun later
            number += 1
            for slip in found.stumbles:
                if slip.bar // round_bars == time:
                    at = begun + timedelta(seconds=slip.time_s if slip.time_s is not None else sounded[0].time_s or 0.0)
                    ledger.add_stumble(take, slip.bar % round_bars, slip.beat, bpm, number, at=at)
            at = begun + timedelta(seconds=max(p.time_s or 0.0 for p in sounded))
            ledger.add_pass(take, number, bpm, round_bars, slips[time], layer, at=at)
        ledger.give_verdict(take, found.verdict, at=begun + timedelta(seconds=seconds))
    rounds = f"{number} time{'' if number == 1 else 's'} round"
    return True, f"logged: {drill.id} at {float(bpm):g} bpm, {rounds}, {found.verdict}."


def _digest(path: Path) -> str:
    with path.open("rb") as raw:
        return hashlib.file_digest(raw, "sha256").hexdigest()
