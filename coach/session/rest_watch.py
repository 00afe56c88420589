"""When a rest is proposed: after half an hour of playing without one, and again after ten minutes more.

Five minutes in each half hour (BAPAM, "Ten top health tips for musicians"); how often it is said again is ours, no
source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from coach.log.playing_time import REST

DUE_MINUTES, AGAIN_MINUTES = 30, 10


@dataclass
class RestWatch:
    """Counts, through all blocks of a session, the minutes without a rest, and remembers when one was proposed.

    told        at how many minutes it was proposed last, None where it was not since the last rest
    before      minutes without a rest when `from_s` seconds of this block had been played
    stopped_at  when the playing of this block stopped last, None while it has not
    """

    told: float | None = None
    before: float = 0.0
    from_s: float = 0.0
    stopped_at: datetime | None = None

    def begin_block(self) -> None:
        """A block begins; what was played before it is told later (`add_before`)."""
        self.before, self.from_s, self.stopped_at = 0.0, 0.0, None

    def add_before(self, minutes: float) -> None:
        """So many minutes without a rest were played before this block."""
        self.before += minutes

    def stop(self, at: datetime) -> None:
        """The playing has stopped."""
        self.stopped_at = at

    def go_on(self, at: datetime, played_s: float) -> None:
        """The playing goes on, after `played_s` seconds of this block; a pause of five minutes was a rest."""
        if self.stopped_at is not None and at - self.stopped_at >= REST:
            self.before, self.from_s = 0.0, played_s

    def proposed(self, played_s: float) -> float | None:
        """The minutes without a rest where one is to be proposed now, and that it was; None where it is too early.

        `played_s` are the seconds played of this block.
        """
        minutes = self.before + (played_s - self.from_s) / 60
        if self.told is not None and minutes < self.told:  # a rest was taken since
            self.told = None
        if minutes < (DUE_MINUTES if self.told is None else self.told + AGAIN_MINUTES):
            return None
        self.told = minutes
        return minutes
