"""After pain: no more playing that day, and short days before the usual ones.

The days after go by BAPAM's steps back to playing ("Return to play"): five minutes at a time with an hour's rest, then
ten with fifty minutes' rest, 3 to 7 days each, back to the first step when a symptom comes again. Three days are what
the plan keeps at the least; a clinician's word goes before it. General information, not medical advice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from coach.log.notes import NoteKind
from coach.log.playing_time import Playing
from coach.log.takes import Note
from coach.plan.cautions import CLINICIAN, GENERAL, STOP

_STEPS = ((3, 5, 60), (6, 10, 50))
"""(up to this day after the pain, minutes at a time, minutes of rest between)."""


@dataclass(frozen=True)
class Care:
    """`stopped`: no more playing today. `minutes`: the most at a time today, None for no bound, `rest` the minutes
    between two times. `words` say why."""

    stopped: bool = False
    minutes: int | None = None
    words: tuple[str, ...] = ()
    rest: int = 0

    def most(self, wanted: int, playing: Playing | None = None) -> int:
        """`wanted` minutes, or as many as are left of them after what was played since the last rest."""
        if self.stopped or self.minutes is None:
            return 0 if self.stopped else wanted
        played = 0.0 if playing is None else playing.run(timedelta(minutes=self.rest))
        return min(wanted, max(int(self.minutes - played), 0))

    def wait(self, playing: Playing) -> str:
        """What is said when nothing is left of the minutes until a rest is over."""
        ended = playing.last_end()
        until = (ended or playing.now) + timedelta(minutes=self.rest)
        when = f"{until.astimezone(playing.now.tzinfo):%H:%M}"
        return f"Rest until {when}: the hands have had their {self.minutes} minutes."


def last_pain(notes: Iterable[Note]) -> Note | None:
    """The latest pain that was noted and not taken back as a slip of the key; None when there is none."""
    pains: list[Note] = []
    for note in sorted(notes, key=lambda n: (n.at, n.kind == NoteKind.PAIN_BY_MISTAKE, n.id)):
        if note.kind == NoteKind.PAIN:
            pains.append(note)
        elif note.kind == NoteKind.PAIN_BY_MISTAKE:
            pains[-1:] = []
    return max(pains, key=lambda n: n.local_day, default=None)


def care_of(notes: Iterable[Note], today: date) -> Care:
    """What the notes ask of the plan of a local day."""
    pain = last_pain(notes)
    days = (today - pain.local_day).days if pain is not None else None
    if days is None:
        return Care()
    if days <= 0:  # a date west of where it was noted is still that day
        return Care(True, 0, (f"Stopped for today. {STOP}", CLINICIAN, GENERAL))
    for last_day, minutes, rest in _STEPS:
        if days <= last_day:
            ago = "yesterday" if days == 1 else f"{days} days ago"
            words = f"Pain was noted {ago}: {minutes} minutes at a time, then {rest} minutes of rest, if nothing hurts."
            return Care(False, minutes, (words, CLINICIAN, GENERAL), rest)
    return Care()
