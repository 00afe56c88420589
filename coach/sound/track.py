"""A practice track: guide, click and a hummed tune over a whole run of bars, block by block, exact to the sample.

One tempo plan runs through all of it and every frame is worked out from its origin. Only what rings on is kept from
one bar to the next, so that an hour of music needs no more memory than a minute.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from coach.music.tempo import TempoPlan
from coach.sound.humming import hum
from coach.sound.mixer import NOTHING, TAIL_S, Mixer, Samples, limit
from coach.sound.score import BarScore
from coach.sound.strings import StringBank

# A song has more notes than a loop; each that is kept saves working it out anew (128 are 86 MB at 48 kHz).
_KEPT_NOTES = 128


@dataclass(frozen=True)
class Tone:
    """One hummed note: from `beat` (from the bar line) for `length` beats, which may reach into later bars."""

    beat: Fraction
    length: Fraction
    midi: int


@dataclass(frozen=True)
class TrackBar:
    """A bar of the guide and the click, and the tones that begin in it."""

    score: BarScore
    tones: tuple[Tone, ...] = ()


@dataclass(frozen=True)
class Volumes:
    """How loud each voice is, 0..1."""

    click: float = 1.0
    guide: float = 1.0
    voice: float = 1.0


def whole_plan(bars: Sequence[TrackBar]) -> TempoPlan:
    """The tempo plan through all bars; the same as `timing.through` bar by bar."""
    parts: list[tuple[Fraction, Fraction, Fraction]] = []
    beat = Fraction(0)
    for bar in bars:
        score = bar.score
        slope = (score.bpm_to - score.bpm_from) / score.beats
        if not parts or slope or parts[-1][2] or parts[-1][1] != score.bpm_from:
            parts.append((beat, score.bpm_from, slope))
        beat += score.beats
    return TempoPlan.build(parts)


def track_frames(bars: Sequence[TrackBar], rate: int, tail_s: float = TAIL_S) -> int:
    """How many frames `track` will give for these bars."""
    beats = sum((bar.score.beats for bar in bars), Fraction(0))
    return whole_plan(bars).frame(beats, rate) + round(tail_s * rate) if bars else 0


def track(
    bars: Sequence[TrackBar], rate: int, volumes: Volumes = Volumes(), *, tail_s: float = TAIL_S
) -> Iterator[Samples]:
    """The sound of the bars, one (frames, 2) float32 array each and what rings on at the end, never above the ceiling.

    A pluck, click or tone at beat b of the run begins at sample round(t · rate), where t are the plan's seconds of b.
    """
    mixer = Mixer(rate, volumes.click, volumes.guide, bank=StringBank(rate, keep=_KEPT_NOTES))
    plan = whole_plan(bars)
    choir = _Choir(rate, volumes.voice)
    carry, beat, end = NOTHING, Fraction(0), 0
    for bar in bars:
        start, end = end, plan.frame(beat + bar.score.beats, rate)
        sound, carry = mixer.mix(bar.score, start, end, plan, beat, carry)
        for tone in bar.tones if volumes.voice else ():
            first = plan.frame(beat + tone.beat, rate)
            choir.begin(tone.midi, first, plan.frame(beat + tone.beat + tone.length, rate))
        choir.add(sound, start)
        beat += bar.score.beats
        yield sound
    if bars and tail_s > 0:
        ringing = mixer.tail(end, carry, tail_s)
        choir.add(ringing, end)
        yield ringing


class _Choir:
    """The tones that sound now, laid over what is mixed already."""

    def __init__(self, rate: int, gain: float) -> None:
        self.rate, self.gain = rate, gain
        self.sounding: list[tuple[int, Samples]] = []

    def begin(self, midi: int, first: int, last: int) -> None:
        """A tone from frame `first` to `last` of the run."""
        wave = hum(midi, max(last - first, 1), self.rate)
        self.sounding.append((first, wave * np.float32(self.gain) if self.gain != 1 else wave))

    def add(self, sound: Samples, start: int) -> None:
        """Lay the tones over `sound`, whose first frame is `start`, in both channels; forget those that are over."""
        end = start + len(sound)
        for first, wave in self.sounding:
            low, high = max(first, start), min(first + len(wave), end)
            if low < high:
                sound[low - start : high - start] += wave[low - first : high - first, None]
        if self.sounding:
            limit(sound)
        self.sounding = [(first, wave) for first, wave in self.sounding if first + len(wave) > end]
