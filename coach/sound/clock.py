"""The one clock: which frame sounds now. Read from the sound card, from the computer's timer, or set by a test.

Time is counted in frames since the first frame of the run. A callback that is asked for block after
block tells (wall time t, first frame of the block). It may come late, never early, so

    c = min(t - frame / rate)        over the callbacks of the last 2 s

is the moment frame 0 was handed over as well as it can be known, and frame (now - c) · rate is the one being
handed over now. What sounds now was handed over one latency ago.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Protocol

Now = Callable[[], float]

WINDOW_S = 2.0
_KEPT = 256  # callbacks remembered at most: 2 s of blocks of 8 ms


class Clock(Protocol):
    """What everyone reads who needs to know where we are. Wall times are those of `time.perf_counter`, in seconds."""

    @property
    def rate(self) -> int:
        """Frames a second."""

    @property
    def running(self) -> bool:
        """True from the first frame on, until stopped."""

    def start(self, rate: int) -> None:
        """Begin again at frame 0."""

    def stop(self) -> None:
        """Stand still."""

    def position(self) -> float:
        """The frame that sounds now, latency taken out; negative while the first frame is still on its way."""

    def frame_at(self, wall_s: float) -> float:
        """The frame that sounds at a wall time."""

    def wall_at(self, frame: float) -> float:
        """The wall time at which a frame sounds; inverse of `frame_at`."""


class AudioClock:
    """Reads the sound card: each callback calls `note`, everyone else asks.

    `latency_s` is how long a frame takes from the callback to the ear: periods times buffer, plus what the
    player calibrated. `note` does no more than build a short tuple and put it in place, so a reader in another
    thread always sees a whole one and no lock is needed.
    """

    def __init__(self, latency_s: float = 0.0, *, period_s: float = 0.0, now: Now = time.perf_counter) -> None:
        self.latency_s = latency_s
        self._period_s = period_s
        self._now = now
        self._rate = 48000
        self._notes: tuple[tuple[float, int], ...] = ()
        self._stopped_at: float | None = None

    @property
    def rate(self) -> int:
        """Frames a second."""
        return self._rate

    @property
    def running(self) -> bool:
        """True once a callback has come, until stopped."""
        return bool(self._notes) and self._stopped_at is None

    def start(self, rate: int) -> None:
        """Forget all callbacks; the next one noted begins a new run."""
        self._rate = rate
        self._notes = ()
        self._stopped_at = None

    def stop(self) -> None:
        """Stand still where we are."""
        if self._stopped_at is None:
            self._stopped_at = self.position()

    def note(self, wall_s: float, frame: int) -> None:
        """A callback was asked, at `wall_s`, for the block that begins with `frame`. Called on the audio thread."""
        notes = self._notes
        if notes and self._period_s > 0:
            # Two whole periods later than the best of the window: the card ran dry meanwhile and everything after
            # sounds later by as much. What was noted before would only mislead.
            start = wall_s - frame / self._rate
            if start - self._origin(notes, wall_s) > 2 * self._period_s:
                notes = ()
        self._notes = (*notes[1 - _KEPT :], (wall_s, frame))

    def _origin(self, notes: tuple[tuple[float, int], ...], now: float) -> float:
        """The wall time at which frame 0 was handed over: the least of the last 2 s."""
        rate, since = self._rate, now - WINDOW_S
        recent = [t - frame / rate for t, frame in notes if t >= since]
        if not recent:
            last_t, last_frame = notes[-1]
            return last_t - last_frame / rate
        return min(recent)

    def frame_at(self, wall_s: float) -> float:
        """The frame that sounds at a wall time (-1 while no callback has come)."""
        notes = self._notes
        if not notes:
            return -1.0
        return (wall_s - self._origin(notes, self._now()) - self.latency_s) * self._rate

    def wall_at(self, frame: float) -> float:
        """The wall time at which a frame sounds (guessed from now while no callback has come)."""
        notes, now = self._notes, self._now()
        origin = self._origin(notes, now) if notes else now
        return origin + self.latency_s + frame / self._rate

    def position(self) -> float:
        """The frame that sounds now, -1 while no callback has come."""
        if self._stopped_at is not None:
            return self._stopped_at
        return self.frame_at(self._now())


class SilentClock:
    """The computer's timer in the place of a sound card: no latency, and the first frame at once."""

    def __init__(self, *, now: Now = time.perf_counter) -> None:
        self._now = now
        self._rate = 48000
        self._origin: float | None = None
        self._stopped_at: float | None = None

    @property
    def rate(self) -> int:
        """Frames a second."""
        return self._rate

    @property
    def running(self) -> bool:
        """True from `start` to `stop`."""
        return self._origin is not None and self._stopped_at is None

    def start(self, rate: int) -> None:
        """Frame 0 is now."""
        self.start_at(rate, 0.0)

    def start_at(self, rate: int, frame: float) -> None:
        """Go on from `frame`, which is now."""
        self._rate = rate
        self._origin = self._now() - frame / rate
        self._stopped_at = None

    def stop(self) -> None:
        """Stand still where we are."""
        if self._stopped_at is None:
            self._stopped_at = self.position()

    def frame_at(self, wall_s: float) -> float:
        """The frame of a wall time."""
        return -1.0 if self._origin is None else (wall_s - self._origin) * self._rate

    def wall_at(self, frame: float) -> float:
        """The wall time of a frame."""
        origin = self._now() if self._origin is None else self._origin
        return origin + frame / self._rate

    def position(self) -> float:
        """The frame of this moment, -1 before the start."""
        if self._stopped_at is not None:
            return self._stopped_at
        return self.frame_at(self._now())


class FakeClock:
    """A clock whose time is set by hand, for tests: `seconds` since the first frame."""

    def __init__(self, rate: int = 48000) -> None:
        self._rate = rate
        self.seconds = 0.0
        self._running = False

    @property
    def rate(self) -> int:
        """Frames a second."""
        return self._rate

    @property
    def running(self) -> bool:
        """True from `start` to `stop`."""
        return self._running

    def start(self, rate: int) -> None:
        """Begin at 0 s."""
        self._rate, self.seconds, self._running = rate, 0.0, True

    def stop(self) -> None:
        """Stand still."""
        self._running = False

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        self.seconds += seconds

    def frame_at(self, wall_s: float) -> float:
        """Wall time and clock time are the same here."""
        return wall_s * self._rate

    def wall_at(self, frame: float) -> float:
        """Wall time and clock time are the same here."""
        return frame / self._rate

    def position(self) -> float:
        """The frame of the time that was set."""
        return self.seconds * self._rate
