"""A take as it is written: begun with its first bar, then passes, stumbles and the verdict, each when it happens."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction

from coach.log.notes import NoteKind
from coach.log.playing_time import bar_seconds
from coach.log.takes import Mode, Pass, Take, Verdict
from coach.session.ledger_writer import Scribe
from coach.session.run import BarOrder, PassDone
from coach.skill.evidence import standing

LEAST_BESIDE_S = 5.0
"""Fewer seconds beside whole passes are not worth an entry."""


@dataclass
class TakeBook:
    """Tells the scribe what to write. The take's id comes once the scribe has begun it; deeds are done in order.

    `chords` are those played in place of the drill's own, "" for its own.
    """

    scribe: Scribe
    now: Callable[[], datetime]
    drill: str
    chords: str = ""
    begun: bool = False
    closed: bool = False
    id: str = ""
    passes: list[PassDone] = field(default_factory=list)

    def begin(self, order: BarOrder) -> None:
        """The first bar that is played begins."""
        self.begun = True
        at, mode = self.now(), Mode.SING if order.sung else Mode.PLAY
        self.scribe.write(
            lambda ledger: setattr(self, "id", ledger.begin_take(self.drill, order.tempo, order.chosen, at, mode))
        )
        if self.chords:  # where it stumbles says nothing of the drill's own bars
            self.scribe.write(lambda ledger: ledger.add_note(NoteKind.OTHER_CHORDS, self.chords, self.id, at))

    def add_pass(self, done: PassDone) -> None:
        """A pass has ended."""
        at = self.now()
        self.passes.append(done)
        self.scribe.write(
            lambda ledger: ledger.add_pass(
                self.id, done.number + 1, done.bpm, done.bars, done.stumbles, done.layer, at=at
            )
        )

    def add_stumble(self, bar: int, beat: Fraction, bpm: Fraction, pass_no: int) -> None:
        """A stumble, in bar `bar` of the loop (from 0) on `beat`, in pass `pass_no` (from 0)."""
        at = self.now()
        self.scribe.write(lambda ledger: ledger.add_stumble(self.id, bar, beat, bpm, pass_no + 1, at=at))

    def judge(self, verdict: str) -> None:
        """The player's word."""
        at = self.now()
        self.scribe.write(lambda ledger: ledger.give_verdict(self.id, verdict, at=at))

    def hurt(self, title: str) -> None:
        """It hurt while `title` was played."""
        at = self.now()
        self.scribe.write(lambda ledger: ledger.add_note(NoteKind.PAIN, title, None, at))

    def close(self, played_s: float, beats: int) -> None:
        """The take is over after so many seconds of playing in bars of so many beats: what its whole passes do not tell
        of them is written down, once."""
        told = math.fsum(bar_seconds(p.bars, beats, float(p.bpm)) for p in self.passes)
        beside, at = played_s - told, self.now()
        if self.begun and not self.closed and beside >= LEAST_BESIDE_S:
            self.scribe.write(lambda ledger: ledger.add_note(NoteKind.SECONDS_BESIDE, f"{beside:.1f}", self.id, at))
        self.closed = True

    def borne_out(self) -> str:
        """The verdict that the passes bear out."""
        return borne_out(self.passes, self.now())


def borne_out(passes: Sequence[PassDone], at: datetime) -> str:
    """The best verdict that these passes support (`coach.skill.evidence`)."""
    rows = tuple(Pass(p.number + 1, float(p.bpm), p.bars, p.stumbles, p.clean, p.layer) for p in passes)
    whole = Take("", at, at.date(), "", rows[-1].tempo, 0, 0, Verdict.FLOWING, passes=rows)
    return standing((whole,)) or Verdict.SHAKY
