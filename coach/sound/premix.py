"""Bars mixed ahead of the place where the sound card reads, and mixed again when something changes.

One `TempoPlan` runs through the whole of it: each bar turns it at its own bar line, and every frame is worked out
from the plan's origin. All of this runs on the engine's thread (or a test's); only `feed` is shared with the callback.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from coach.music.tempo import Segment, TempoPlan
from coach.sound.feed import BYTES_PER_FRAME, Block, Feed
from coach.sound.mixer import NOTHING, TAIL_S, Carry, Mixer, Samples
from coach.sound.score import BarScore
from coach.sound.timing import PlacedBar, extend_plan

Source = Callable[[int], BarScore | None]

AHEAD_S = 0.7  # at least this much, and a whole bar, lies ready
NEAR_S = 0.08  # a bar line nearer than this is left as it is
_CROSS_S = 0.010  # a change of volume within a bar
_FADE_S = 0.020  # a stop


@dataclass(frozen=True)
class TimedBar:
    """A bar that sounds, has sounded or will sound next: `number` from 0, its frames, and its tempo as a segment."""

    number: int
    start_beat: Fraction
    start_frame: int
    end_frame: int
    score: BarScore
    segment: Segment

    def beat_at(self, frame: float, rate: int) -> float:
        """Beats since the bar line when `frame` sounds."""
        return self.segment.beat_at(frame / rate) - float(self.start_beat)


@dataclass(frozen=True)
class _MixedBlock:
    """A block with what it was mixed from; `placed` is None for the ringing out after the last bar."""

    block: Block
    placed: PlacedBar | None
    carry_in: Carry
    carry_out: Carry


class Premix:
    """Pulls bars 0, 1, 2.. from `source` and keeps their blocks chained ahead of `feed`.

    `source` may be asked for a bar more than once (`renew`): the last answer that comes to sound stands in `bars`.
    """

    def __init__(self, source: Source, mixer: Mixer) -> None:
        self._source = source
        self._mixer = mixer
        self._rate = mixer.rate
        self._laid: list[_MixedBlock] = []
        self.bars: list[TimedBar] = []
        self.feed: Feed | None = None

    @property
    def mixed_to(self) -> int:
        """The frame up to which sound lies ready."""
        laid = self._laid
        return laid[-1].block.end if laid else 0

    @property
    def end_frame(self) -> int | None:
        """Where the last sound ends, once the end has been mixed."""
        return self._laid[-1].block.end if self._laid and self._laid[-1].placed is None else None

    def ahead(self) -> None:
        """Mix until one whole bar after the one being read, and `AHEAD_S`, are ready; mostly there is nothing to do."""
        while self.end_frame is None:
            feed = self.feed
            if feed is not None:
                last = self._laid[-1].block
                if feed.block is not last and last.end - feed.frame >= AHEAD_S * self._rate:
                    break
            laid = self._after(self._laid[-1] if self._laid else None)
            if self._laid:
                self._laid[-1].block.next = laid.block
            self._laid.append(laid)
            self._note(laid)
            if feed is None:
                self.feed = Feed(self._laid[0].block)
        self._forget()

    def renew(self) -> bool:
        """Pull and mix again the bars that have not begun; False when there was none or the end is sounding."""
        feed = self.feed
        if feed is None:
            return False
        while True:
            at = self._index(feed.block)
            if at is None or self._laid[at].placed is None:
                return False
            if feed.block.end - feed.frame < NEAR_S * self._rate:
                at += 1
            if at + 1 >= len(self._laid):
                return False
            anchor = self._laid[at]
            if anchor.placed is None:
                return False
            fresh = self._after(anchor)
            anchor.block.next = fresh.block
            if not anchor.block.closed or _wait_for_taken(anchor.block) is fresh.block:
                placed = anchor.placed
                self._laid = [*self._laid[: at + 1], fresh]
                self.bars = [b for b in self.bars if b.number <= placed.score.number]
                self._note(fresh)
                self.ahead()
                return True
            # The callback took the old block at this very moment: what it plays now stays, the bar after it changes.

    def set_volumes(self, click: float, guide: float) -> None:
        """Mix again with other volumes what has not been handed over; the place of nothing changes."""
        self._mixer.click_gain, self._mixer.guide_gain = click, guide
        feed = self.feed
        at = None if feed is None else self._index(feed.block)
        if feed is None or at is None:
            return
        cross = round(_CROSS_S * self._rate)
        margin = max(2 * feed.asked, round(0.02 * self._rate))
        joined = False
        for laid in self._laid[at:]:
            block = laid.block
            fresh, old = self._sound(laid), np.frombuffer(block.data, dtype=np.float32).reshape(-1, 2)
            if not joined:
                start = max(feed.frame + margin - block.start, 0)
                if start + cross > len(fresh):
                    continue
                rise = np.linspace(0.0, 1.0, cross, dtype=np.float32)[:, None]
                fresh[:start] = old[:start]
                fresh[start : start + cross] += (old - fresh)[start : start + cross] * (1 - rise)
                joined = True
            block.data = fresh.tobytes()

    def fade(self) -> int:
        """Let the sound die away quickly after what has been handed over; the frame where silence begins."""
        feed = self.feed
        if feed is None:
            return 0
        start = feed.frame + feed.asked
        frames = round(_FADE_S * self._rate)
        rest, block, at = bytearray(), feed.block, start
        while at < start + frames:
            if at >= block.end:
                if block.next is None:
                    break
                block = block.next
                continue
            stop = min(start + frames, block.end)
            rest += block.data[(at - block.start) * BYTES_PER_FRAME : (stop - block.start) * BYTES_PER_FRAME]
            at = stop
        sound = np.frombuffer(bytes(rest), dtype=np.float32).reshape(-1, 2).copy()
        sound *= (0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, frames, dtype=np.float32)))[: len(sound), None]
        feed.final = Block(start, start + frames, sound.tobytes(), last=True)
        return start + frames

    def _after(self, before: _MixedBlock | None) -> _MixedBlock:
        """The bar (or the ringing out) that follows, mixed but not yet in the chain."""
        placed = None if before is None else before.placed
        number = 0 if placed is None else placed.score.number + 1
        beat = Fraction(0) if placed is None else placed.start_beat + placed.score.beats
        start = 0 if before is None else before.block.end
        carry = NOTHING if before is None else before.carry_out
        score = self._source(number)
        if score is None:
            frames = 0 if carry.silent else round(TAIL_S * self._rate)
            laid = _MixedBlock(Block(start, start + frames, b"", last=True), None, carry, NOTHING)
            laid.block.data = self._sound(laid).tobytes()
            return laid
        if score.number != number:
            score = replace(score, number=number)
        plan: TempoPlan = extend_plan(None if placed is None else placed.plan, beat, score)
        here = PlacedBar(score, beat, start, plan.frame(beat + score.beats, self._rate), plan)
        sound, out = self._mixer.mix(score, here.start_frame, here.end_frame, plan, beat, carry)
        return _MixedBlock(Block(start, here.end_frame, sound.tobytes()), here, carry, out)

    def _sound(self, laid: _MixedBlock) -> Samples:
        placed, block = laid.placed, laid.block
        if placed is None:
            return self._mixer.tail(block.start, laid.carry_in, (block.end - block.start) / self._rate)
        return self._mixer.mix(
            placed.score, block.start, block.end, placed.plan, placed.start_beat, laid.carry_in
        )[0]

    def _note(self, laid: _MixedBlock) -> None:
        placed = laid.placed
        if placed is not None:
            self.bars.append(
                TimedBar(
                    placed.score.number,
                    placed.start_beat,
                    placed.start_frame,
                    placed.end_frame,
                    placed.score,
                    placed.plan.segments[-1],
                )
            )

    def _index(self, block: Block) -> int | None:
        return next((i for i, laid in enumerate(self._laid) if laid.block is block), None)

    def _forget(self) -> None:
        """Let go of what has been handed over long ago: a long run must not fill the memory."""
        at = None if self.feed is None else self._index(self.feed.block)
        if at is not None and at > 2:
            self._laid = self._laid[at - 2 :]


def _wait_for_taken(block: Block, limit_s: float = 1.0) -> Block | None:
    """Which block the callback went on to; it is between two lines of its own, so this waits microseconds at most.

    None when it found nothing there at all: then it will look again and find what stands there now.
    """
    until = time.perf_counter() + limit_s
    while block.taken is None and time.perf_counter() < until:
        time.sleep(0)
    return block.taken
