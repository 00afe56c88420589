"""Bars into samples: clicks and plucks laid at their exact frames, strings ringing on across bar lines, never too loud.

A bar is mixed from values alone (`mix` keeps nothing), so the same bar can be mixed again with another tempo or
layer. What rings on from one bar to the next is told by a `Carry`: not sound, only which notes began when.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import cos, pi, sin

import numpy as np
from numpy.typing import NDArray

from coach.music.tempo import TempoPlan
from coach.sound.click import knock
from coach.sound.humming import RELEASE_S, hum
from coach.sound.score import BarScore
from coach.sound.strings import LENGTH_S, StringBank
from coach.sound.timing import place_bars

Samples = NDArray[np.float32]

CEILING = 0.5  # no sample leaves louder: -6.02 dBFS
KNEE = 0.36  # below this the limiter leaves every sample alone
DAMP_S = 0.003  # a string plucked again falls silent in this time
TAIL_S = 1.5  # how long a piece rings on after its last bar

# Where each string stands between left (-1) and right (1): as the player sees them, basses a little to the left.
_PLACE = {6: -0.30, 5: -0.20, 4: -0.08, 3: 0.06, 2: 0.18, 1: 0.30}


@dataclass(frozen=True)
class RingingNote:
    """A note begun at `frame` (from the run's origin); `until` is where its string was plucked again, if it was."""

    frame: int
    string: int
    midi: int
    stress: str
    until: int | None = None


@dataclass(frozen=True)
class Hummed:
    """A hummed note from `frame` to `until`."""

    frame: int
    until: int
    midi: int


@dataclass(frozen=True)
class Carry:
    """What still sounds at a bar line: notes, clicks as (frame, kind), and the tune."""

    notes: tuple[RingingNote, ...] = ()
    clicks: tuple[tuple[int, str], ...] = ()
    tune: tuple[Hummed, ...] = ()

    @property
    def silent(self) -> bool:
        """True when nothing sounds on."""
        return not (self.notes or self.clicks or self.tune)


NOTHING = Carry()


class Mixer:
    """Mixes bars at one rate with two volumes, click and guide, each 0..1."""

    def __init__(
        self, rate: int, click_gain: float = 1.0, guide_gain: float = 1.0, *, bank: StringBank | None = None
    ) -> None:
        self.rate = rate
        self.click_gain = click_gain
        self.guide_gain = guide_gain
        self.bank = bank if bank is not None else StringBank(rate)

    def mix(
        self,
        score: BarScore,
        start_frame: int,
        end_frame: int,
        plan: TempoPlan,
        start_beat: Fraction,
        carry: Carry = NOTHING,
    ) -> tuple[Samples, Carry]:
        """One bar as (end_frame - start_frame, 2) float32 within ±`CEILING`, and what rings on after it.

        A stroke, pluck or hummed note at beat b of the bar stands at sample round(t · rate) - start_frame, where t
        are the plan's seconds of start_beat + b.
        """
        notes = _end_replucked(
            [
                *carry.notes,
                *(
                    RingingNote(plan.frame(start_beat + p.sounds_at, self.rate), p.string, p.midi, p.stress)
                    for p in score.plucks
                ),
            ]
        )
        clicks = [*carry.clicks, *((plan.frame(start_beat + s.beat, self.rate), s.kind) for s in score.strokes)]
        tune = [
            *carry.tune,
            *(
                Hummed(
                    plan.frame(start_beat + tone.beat, self.rate),
                    plan.frame(start_beat + tone.beat + tone.length, self.rate),
                    tone.midi,
                )
                for tone in score.tune
            ),
        ]
        return self._sound(Carry(tuple(notes), tuple(clicks), tuple(tune)), start_frame, end_frame)

    def tail(self, start_frame: int, carry: Carry, seconds: float = TAIL_S) -> Samples:
        """What rings on after the last bar, fading out over `seconds`: (frames, 2) float32."""
        frames = round(seconds * self.rate)
        sound, _ = self._sound(carry, start_frame, start_frame + frames)
        sound *= np.cos(np.linspace(0.0, pi / 2, frames, dtype=np.float32))[:, None]
        return sound

    def _sound(self, sounding: Carry, start: int, end: int) -> tuple[Samples, Carry]:
        out = np.zeros((2, end - start), dtype=np.float32)
        on_notes, on_clicks, on_tune = [], [], []
        ring = round(LENGTH_S * self.rate)
        for ringing in sounding.notes:
            stops = ringing.frame + ring if ringing.until is None else ringing.until + round(DAMP_S * self.rate)
            if min(stops, ringing.frame + ring) > end:
                on_notes.append(ringing)
            if not self.guide_gain or ringing.frame >= end or stops <= start:
                continue
            wave = self.bank.note(ringing.midi, ringing.string, ringing.stress)
            if ringing.until is not None:
                wave = _damp(wave, ringing.until - ringing.frame, round(DAMP_S * self.rate))
            angle = (_PLACE[ringing.string] + 1.0) * pi / 4
            _lay(out[0], wave, ringing.frame - start, self.guide_gain * cos(angle) * 2**0.5)
            _lay(out[1], wave, ringing.frame - start, self.guide_gain * sin(angle) * 2**0.5)
        for frame, kind in sounding.clicks:
            wave = knock(kind, self.rate)
            _lay(out[0], wave, frame - start, self.click_gain)
            _lay(out[1], wave, frame - start, self.click_gain)
            if frame + len(wave) > end:
                on_clicks.append((frame, kind))
        for tone in sounding.tune:
            if tone.until + round(RELEASE_S * self.rate) > end:
                on_tune.append(tone)
            if self.guide_gain and tone.frame < end:
                wave = hum(tone.midi, max(tone.until - tone.frame, 1), self.rate)
                _lay(out[0], wave, tone.frame - start, self.guide_gain)
                _lay(out[1], wave, tone.frame - start, self.guide_gain)
        limit(out)
        return np.ascontiguousarray(out.T), Carry(tuple(on_notes), tuple(on_clicks), tuple(on_tune))


def limit(samples: Samples) -> None:
    """Bend samples above `KNEE` softly towards `CEILING`, in place. Without memory: nothing below the knee changes."""
    loud = np.abs(samples) > KNEE
    if loud.any():
        room = CEILING - KNEE
        high = samples[loud]
        samples[loud] = np.sign(high) * (KNEE + room * np.tanh((np.abs(high) - KNEE) / room))


def _end_replucked(notes: list[RingingNote]) -> list[RingingNote]:
    """The notes in order, each ended where its string is plucked next; of two at once the later written counts."""
    ended: list[RingingNote] = []
    last: dict[int, int] = {}
    for ringing in sorted(notes, key=lambda r: r.frame):
        before = last.get(ringing.string)
        if before is not None and ended[before].until is None:
            old = ended[before]
            ended[before] = RingingNote(old.frame, old.string, old.midi, old.stress, ringing.frame)
        last[ringing.string] = len(ended)
        ended.append(ringing)
    return [r for r in ended if r.until is None or r.until > r.frame]


def _damp(wave: Samples, until: int, frames: int) -> Samples:
    """The note cut at `until` (frames from its start) with a short fade after it."""
    if until >= len(wave):
        return wave
    cut = wave[: until + frames].copy()
    fade = 0.5 + 0.5 * np.cos(np.pi * np.arange(1, frames + 1, dtype=np.float32) / frames)
    cut[until:] *= fade[: len(cut) - until]
    return cut


def _lay(out: Samples, wave: Samples, at: int, gain: float) -> None:
    """Add `wave` times `gain` so that its first sample falls on index `at`, which may lie outside."""
    first, last = max(at, 0), min(at + len(wave), len(out))
    if first < last and gain:
        out[first:last] += wave[first - at : last - at] * np.float32(gain)


def render_bars(
    scores: Iterable[BarScore], rate: int, *, click_gain: float = 1.0, guide_gain: float = 1.0, tail_s: float = TAIL_S
) -> Iterator[Samples]:
    """A whole piece, one (frames, 2) float32 array a bar and the tail at the end: the very samples the stage plays."""
    mixer = Mixer(rate, click_gain, guide_gain)
    carry, end = NOTHING, 0
    for bar in place_bars(scores, rate):
        sound, carry = mixer.mix(bar.score, bar.start_frame, bar.end_frame, bar.plan, bar.start_beat, carry)
        end = bar.end_frame
        yield sound
    if tail_s > 0 and not carry.silent:
        yield mixer.tail(end, carry, tail_s)


def render(
    scores: Iterable[BarScore], rate: int, *, click_gain: float = 1.0, guide_gain: float = 1.0, tail_s: float = TAIL_S
) -> Samples:
    """`render_bars` in one piece: (frames, 2) float32."""
    bars = list(render_bars(scores, rate, click_gain=click_gain, guide_gain=guide_gain, tail_s=tail_s))
    return np.concatenate(bars) if bars else np.zeros((0, 2), dtype=np.float32)
