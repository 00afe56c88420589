"""The engine: plays bars from a source on a speaker, always mixed ahead, and says where it is.

Threads: the caller's (start, stop, refresh, set_volumes, position), the engine's own (pulls bars, mixes, watches) and
the sound card's (only `_Tap`). The three callbacks given at construction are called on the engine's thread: they
must be short and pass the word on (a screen posts itself a message).

When the sound card falls silent, the run goes on by the computer's timer from where it is, and the card is tried
again every few seconds.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from coach.errors import CoachError
from coach.sound import silence
from coach.sound.clock import AudioClock, Clock, Now, SilentClock
from coach.sound.device import Speaker
from coach.sound.feed import BYTES_PER_FRAME, Feed
from coach.sound.mixer import Mixer
from coach.sound.premix import Premix, Source, TimedBar
from coach.sound.strings import StringBank

LOST_S = 0.5  # no callback for so long: the device is gone
FIRST_S = 2.0  # the first callback may take longer: a sound server that slept has to wake up
AGAIN_S = 3.0  # then it is tried again so often
_TICK_S = 0.05
_JOIN_S = 3.0


@dataclass(frozen=True)
class Position:
    """Where the run is: bar `number`, `beat` since its bar line, the tempo there, the `frame` that sounds."""

    number: int
    beat: float
    bpm: float
    frame: float


class _Tap:
    """One opening of the speaker. After `shut` it gives silence, should a dead device come back and ask."""

    def __init__(self, feed: Feed, clock: AudioClock, now: Now, *, join: Callable[[float], int] | None = None) -> None:
        self.feed = feed
        self.clock = clock
        self.opened = now()
        self.last: float | None = None
        self.failed: Exception | None = None
        self.shut = False
        self._now = now
        self._join = join  # where to take up a run that is under way, as a frame

    def fill(self, frames: int) -> bytes:
        """The callback: note the time, slice, hand over; whatever happens, hand over something."""
        now = self._now()
        try:
            if self.shut:
                return bytes(frames * BYTES_PER_FRAME)
            if self.last is None and self._join is not None:
                self.feed.advance(self._join(now))
            self.last = now
            self.clock.note(now, self.feed.frame)
            return self.feed.fill(frames)
        except Exception as error:
            self.failed = error
            return bytes(frames * BYTES_PER_FRAME)

    def lost(self) -> bool:
        """True when the device does not ask any more (or does not begin to)."""
        if self.failed is not None:
            return True
        if self.last is None:
            return self._now() - self.opened > FIRST_S
        return self._now() - self.last > LOST_S


class Engine:
    """Plays one run at a time. `offset_s` is the player's own calibrated addition to the speaker's latency.

    `clock` and `now` are for tests: a clock set by hand (used where the speaker is silent) and the timer.
    """

    def __init__(
        self,
        speaker: Speaker,
        rate: int = 48000,
        click_volume: float = 1.0,
        guide_volume: float = 0.8,
        *,
        on_bar: Callable[[int], None] | None = None,
        on_end: Callable[[], None] | None = None,
        on_trouble: Callable[[str], None] | None = None,
        offset_s: float = 0.0,
        clock: Clock | None = None,
        now: Now = time.perf_counter,
    ) -> None:
        self.speaker = speaker
        self.rate = rate
        self.offset_s = offset_s
        self._volumes = (click_volume, guide_volume)
        self._bank = StringBank(rate)
        self._on_bar, self._on_end, self._on_trouble = on_bar, on_end, on_trouble
        self._given_clock, self._now = clock, now
        self._clock: Clock = clock if clock is not None else SilentClock(now=now)
        self._premix: Premix | None = None
        self._thread: threading.Thread | None = None
        self._wake = threading.Event()
        self._halt = False
        self._again = False
        self._tap: _Tap | None = None
        self._silent = True
        self._retry: _Retry | None = None
        self._told = -1
        self._starved = 0

    @property
    def clock(self) -> Clock:
        """The clock of the run; another one after a sound card was lost or found again."""
        return self._clock

    @property
    def running(self) -> bool:
        """True from `start` until the last sound has died away or `stop`."""
        thread = self._thread
        return thread is not None and thread.is_alive() and not self._halt

    @property
    def sounding(self) -> bool:
        """True while a real device takes the sound."""
        return self.running and not self._silent

    @property
    def timeline(self) -> tuple[TimedBar, ...]:
        """The bars begun and those mixed ahead, from the first on."""
        premix = self._premix
        return () if premix is None else tuple(premix.bars)

    @property
    def mixed_to(self) -> int:
        """The frame up to which sound lies ready, the ringing out included."""
        premix = self._premix
        return 0 if premix is None else premix.mixed_to

    def start(self, source: Source) -> None:
        """Play bars 0, 1, 2.. of `source` (called on the engine's thread; None is the end) until they end or `stop`."""
        self.stop()
        self._halt = self._again = False
        self._told, self._starved, self._retry, self._tap = -1, 0, None, None
        self._silent = True
        self._wake.clear()
        self._premix = Premix(source, Mixer(self.rate, *self._volumes, bank=self._bank))
        self._clock = SilentClock(now=self._now)  # says "not yet" until the first frame
        self._thread = threading.Thread(target=self._run, args=(self._premix,), name="coach-engine", daemon=True)
        silence.begins(self)
        self._thread.start()

    def stop(self, *, wait: bool = True) -> None:
        """Fade out quickly and close the device; harmless when nothing plays.

        With `wait` it returns when all is quiet (about the speaker's latency, 3 s at the very most).
        """
        thread = self._thread
        self._halt = True
        self._wake.set()
        if wait and thread is not None and thread is not threading.current_thread():
            thread.join(_JOIN_S)

    def cut(self) -> None:
        """Silence from the next callback on, without a fade, also where the engine's own thread does not answer."""
        self._halt = True
        self._wake.set()
        retry = self._retry
        for tap in (self._tap, None if retry is None else retry.tap):
            if tap is not None:
                tap.shut = True

    def refresh(self) -> None:
        """The source would answer differently now: bars not yet begun are pulled and mixed again.

        The change comes at the next bar line, or where that is within 80 ms of what the card already has, at the one
        after.
        """
        self._again = True
        self._wake.set()

    def set_volumes(self, *, click: float | None = None, guide: float | None = None) -> None:
        """Volumes 0..1 of click and guide, heard within a few buffers."""
        old_click, old_guide = self._volumes
        self._volumes = (old_click if click is None else click, old_guide if guide is None else guide)
        self._wake.set()

    def position(self) -> Position | None:
        """Where the run is by the clock; None before the first frame and where nothing runs. Cheap."""
        premix = self._premix
        frame = self._clock.position()
        if premix is None or frame < 0 or not self.running:
            return None
        bars = premix.bars
        for bar in reversed(bars):
            if bar.start_frame <= frame:
                beat = min(bar.beat_at(frame, self.rate), float(bar.score.beats))
                segment = bar.segment
                since = float(bar.start_beat - segment.beat) + beat
                return Position(bar.number, beat, float(segment.bpm) + float(segment.slope) * since, frame)
        return None

    def wait_quiet(self, timeout_s: float) -> bool:
        """Wait until the run has ended; True when it has."""
        thread = self._thread
        if thread is not None:
            thread.join(timeout_s)
        return thread is None or not thread.is_alive()

    # ── the engine's thread ────────────────────────────────────────────────────────────────────────

    def _run(self, premix: Premix) -> None:
        mixed_with = self._volumes
        ended = False
        try:
            premix.ahead()
            feed = premix.feed
            assert feed is not None
            self._open(feed)
            while not self._halt:
                self._wake.wait(self._nap(premix))
                self._wake.clear()
                if self._again:
                    self._again = False
                    premix.renew()
                if self._volumes != mixed_with:
                    mixed_with = self._volumes
                    premix.set_volumes(*mixed_with)
                premix.ahead()
                self._watch(premix)
                position = self._clock.position()
                self._tell(premix, position)
                end = premix.end_frame
                if end is not None and position >= end:
                    ended = True
                    break
            if not ended:
                self._fade(premix)
        except CoachError as error:
            self._say(str(error))
        except Exception as error:
            self._say(f"The sound had to stop: {type(error).__name__}: {error}.")
        finally:
            self._clock.stop()
            retry = self._retry
            self._close(self._tap if retry is None or retry.tap is None else retry.tap)
            self._halt = True
            if self._thread is threading.current_thread():
                silence.ends(self)
        if ended and self._on_end is not None:
            self._on_end()

    def _nap(self, premix: Premix) -> float:
        """Seconds until there may be something to do: the next bar line, or a tick."""
        position = self._clock.position()
        lines = [bar.start_frame for bar in premix.bars[self._told + 1 :]]
        if not lines or position < 0:
            return _TICK_S
        return min(max((lines[0] - position) / self.rate, 0.0005), _TICK_S)

    def _open(self, feed: Feed) -> None:
        """Start the device, or the timer where there is none."""
        if not self.speaker.silent:
            clock = AudioClock(self.speaker.latency_s + self.offset_s, period_s=self.speaker.period_s, now=self._now)
            clock.start(self.rate)
            tap = _Tap(feed, clock, self._now)
            try:
                # The tap is known before the device asks it: it may have to be cut off while the opening hangs.
                self._clock, self._tap = clock, tap
                self.speaker.open(self.rate, 2, tap.fill)
                tap.opened = self._now()
                self._silent = False
                return
            except CoachError as error:
                tap.shut = True
                self._tap = None
                self._say(str(error))
                self._retry = _Retry(self._now())
        if self._given_clock is not None:
            self._clock = self._given_clock
            self._clock.start(self.rate)
        else:
            silent = SilentClock(now=self._now)
            silent.start(self.rate)
            self._clock = silent

    def _watch(self, premix: Premix) -> None:
        """Is the device still asking? Go on without it if not, and take it back when it returns."""
        feed, tap = premix.feed, self._tap
        assert feed is not None
        if self._silent:
            position = self._clock.position()
            retry = self._retry
            if retry is not None:
                self._try_again(premix, retry)
            if self._silent and position >= 0:
                feed.advance(int(position))
            return
        assert tap is not None
        if feed.starved > self._starved:
            self._starved = feed.starved
            self._say("The computer was too busy for a moment and the sound broke off; it is back in time.")
        if tap.lost():
            silent = SilentClock(now=self._now)
            silent.start_at(self.rate, max(self._clock.position(), 0.0))
            self._clock = silent
            self._silent, self._tap = True, None
            tap.shut = True
            self._close(tap)
            self._retry = _Retry(self._now())
            self._say("The sound device has stopped answering; going on silently and trying it again.")

    def _try_again(self, premix: Premix, retry: _Retry) -> None:
        tap = retry.tap
        if tap is not None:
            if tap.last is not None:  # it asks again: from here on its place in the chain and its clock count
                premix.feed, self._clock, self._tap = tap.feed, tap.clock, tap
                self._silent, self._retry, self._starved = False, None, 0
                self._say("The sound is back.")
            elif not retry.busy() and (retry.refused or tap.lost()):
                tap.shut = True
                self._close(tap)
                self._retry = _Retry(self._now())
        elif self._now() - retry.since >= AGAIN_S:
            feed = premix.feed
            assert feed is not None
            old = self._clock
            latency_s = self.speaker.latency_s + self.offset_s
            clock = AudioClock(latency_s, period_s=self.speaker.period_s, now=self._now)
            clock.start(self.rate)
            own = Feed(feed.block, feed.frame)
            tap = _Tap(own, clock, self._now, join=lambda wall: int(old.frame_at(wall + latency_s)))
            retry.begin(tap, self.speaker, self.rate)

    def _tell(self, premix: Premix, position: float) -> None:
        """Say which bars have begun to sound."""
        for bar in premix.bars[self._told + 1 :]:
            if bar.start_frame <= position:
                self._told = bar.number
                if self._on_bar is not None:
                    self._on_bar(bar.number)

    def _fade(self, premix: Premix) -> None:
        """After a stop: let the fade reach the ear, if anything is listening."""
        quiet = premix.fade()
        tap = self._tap
        if self._silent or tap is None:
            return
        limit = self._now() + 0.4
        begun = time.perf_counter()
        while self._clock.position() < quiet and self._now() < limit and time.perf_counter() - begun < 0.5:
            self._wake.wait(0.005)
            self._wake.clear()

    def _close(self, tap: _Tap | None) -> None:
        """Close the speaker on a thread of its own: one whose server has died may never come back from it."""
        if tap is None:
            return
        tap.shut = True
        closing = threading.Thread(target=self.speaker.close, name="coach-close", daemon=True)
        closing.start()
        closing.join(1.0)

    def _say(self, sentence: str) -> None:
        if self._on_trouble is not None:
            self._on_trouble(sentence)


class _Retry:
    """One more try with a device that was lost: waited for until due, then opened on a thread of its own."""

    def __init__(self, since: float) -> None:
        self.since = since
        self.tap: _Tap | None = None
        self.refused = False
        self._thread: threading.Thread | None = None

    def begin(self, tap: _Tap, speaker: Speaker, rate: int) -> None:
        """Open the speaker without holding up the engine."""

        def opening() -> None:
            try:
                speaker.open(rate, 2, tap.fill)
                if tap.shut:  # the run ended meanwhile
                    speaker.close()
            except Exception:
                self.refused = True

        self.tap = tap
        self._thread = threading.Thread(target=opening, name="coach-reopen", daemon=True)
        self._thread.start()

    def busy(self) -> bool:
        """True while the opening has not come back."""
        return self._thread is not None and self._thread.is_alive()
