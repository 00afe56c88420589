"""Recordings of takes of which every pluck is known.

Nothing here comes from the ear's or the sound's room. A written piece (pattern and chords as the picking room realises
them) is played by a `Hand` with its mistakes; the strings it strikes are sounded in two ways:

- `by_soundfont`: FluidSynth with the FluidR3 sound font, a MIDI channel for each string. Its guitars speak a constant
  8 to 13 ms after the note (references 8.8), and FluidSynth begins notes on blocks of 64 frames (+-1 ms, measured).
- `by_model`: decaying partials, stretched as a stiff string stretches them (f_k = k f0 sqrt(1 + B k^2): Fletcher 1964,
  J. Acoust. Soc. Am. 36:203, from memory), with random phases and a breath of nail noise. Exact to the frame.

Over them a voice, before them a count-in or talk, noise, clipping and changing levels.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import mido
import numpy as np
from numpy.typing import NDArray

from coach import shelf
from coach.music.chords import read_bars
from coach.picking.layers import plucks_in_layer
from coach.picking.realise import HeldBar, hold_bars, realise

Sound = NDArray[np.float64]
Rng = np.random.Generator

RATE = 44100
SOUND_FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
NYLON, STEEL, CHOIR, OOHS = 24, 25, 52, 53  # General MIDI programs as data bytes
OPEN = {6: 40, 5: 45, 4: 50, 3: 55, 2: 59, 1: 64}  # E2 A2 D3 G3 B3 E4: W3C MusicXML tutorial, staff-tuning
TOGETHER_S = 0.03  # onsets nearer than this are heard as one (Boeck et al. 2012 join them so; from memory)
RINGS_S, TOUCH_S = 3.0, 0.012  # how long a string rings; how long before its pluck the finger lies on it


def missing() -> str:
    """Why there can be no sound font renders here, "" when there can."""
    there = shutil.which("fluidsynth") and SOUND_FONT.is_file()
    return "" if there else "missing tool: fluidsynth with fluid-soundfont-gm"


# --- what is written, and what a hand makes of it


@dataclass(frozen=True)
class Written:
    """A meant pluck: the fields of the ear's own, `time_s` from the first beat."""

    bar: int
    beat: Fraction
    string: int
    fret: int
    midi: int
    finger: str
    time_s: float


@dataclass(frozen=True)
class Score:
    """The written plucks in order of time and string (lowest first), and the shapes under them."""

    plucks: tuple[Written, ...]
    held: tuple[HeldBar, ...]  # one for each bar of all loops
    beat_s: float
    beats: int  # of a bar

    @property
    def seconds(self) -> float:
        """From the first beat to the end of the last bar."""
        return len(self.held) * self.beats * self.beat_s

    def frets(self, time_s: float) -> Mapping[int, int]:
        """Fret of each string that sounds in the shape held at this written time; nothing where none is held."""
        beat = Fraction(round(time_s / self.beat_s * 48), 48)
        bar = min(int(beat // self.beats), len(self.held) - 1)
        shape = self.held[bar].at(beat - bar * self.beats).shape
        return {} if shape is None else {s: shape.fret(s) or 0 for s in shape.sounding}

    def changes(self) -> list[tuple[float, Mapping[int, int]]]:
        """When the fretting hand moves, and to which frets."""
        starts = [(b * self.beats + h.beat) * self.beat_s for b, bar in enumerate(self.held) for h in bar.holds]
        return [(float(t), self.frets(float(t))) for t in starts]


@cache
def score(pattern: str, chords: str, bpm: float, *, loops: int = 1, layer: str = "full") -> Score:
    """A shipped pattern over chords; the seconds are worked out here, not by a tempo plan of the project."""
    found = shelf.library().find(pattern)
    held = hold_bars(read_bars(chords), found.meter, shelf.shapes())
    beats, beat_s = found.meter.beats, 60 / bpm
    rows = [
        Written(p.bar, p.beat, p.string, p.fret, p.midi, p.finger, float(p.bar * beats + p.sounds_at) * beat_s)
        for p in plucks_in_layer(realise(found, held, loops=loops), layer)
    ]
    rows.sort(key=lambda w: (w.time_s, -w.string))
    return Score(tuple(rows), held * loops, beat_s, beats)


@dataclass(frozen=True)
class Hand:
    """How somebody plays: spreads in ms, shares of all plucks, `hesitations` as (bar, beat, seconds)."""

    jitter_ms: float = 4.0
    late_ms: Mapping[str, float] = field(default_factory=dict)  # by finger
    jitters_ms: Mapping[str, float] = field(default_factory=dict)  # by finger, instead of `jitter_ms`
    drift_ms_per_min: float = 0.0
    hesitations: tuple[tuple[int, Fraction, float], ...] = ()
    missed: float = 0.0
    wrong: float = 0.0
    extra: float = 0.0
    soft: float = 0.0
    loudness: float = 0.7  # 0..1, as MIDI velocity


@dataclass(frozen=True)
class Struck:
    """A string that was struck: `time_s` until `ends_s` in the recording; `meant` counts in the score (None: extra)."""

    time_s: float
    ends_s: float
    string: int
    midi: int
    loudness: float
    meant: int | None


@dataclass(frozen=True)
class Played:
    """The truth of a take: what was struck, and for each written pluck `hit`, `wrong` or `missed`."""

    struck: tuple[Struck, ...]
    status: tuple[str, ...]
    hesitations: tuple[tuple[int, Fraction, float], ...] = ()  # bar, beat, seconds

    def moved(self, by_s: float) -> Played:
        """The same, begun later."""
        later = (replace(s, time_s=s.time_s + by_s, ends_s=s.ends_s + by_s) for s in self.struck)
        return replace(self, struck=tuple(later))

    def of(self, meant: int) -> Struck | None:
        """What was struck for a written pluck."""
        return next((s for s in self.struck if s.meant == meant), None)

    @property
    def onsets(self) -> list[float]:
        """When something was heard to begin: plucks together count once."""
        return together(s.time_s for s in self.struck)


def played(of: Score, hand: Hand, seed: int = 0) -> Played:
    """One go at the score. The same seed makes the same mistakes."""
    rng = np.random.default_rng(seed)
    held_up = [((bar * of.beats + float(beat)) * of.beat_s, s) for bar, beat, s in hand.hesitations]

    def when(time_s: float) -> float:
        waited = sum(s for at, s in held_up if at <= time_s + 1e-9)
        return time_s * (1 + hand.drift_ms_per_min / 60000) + waited

    status, struck = [], []
    for k, w in enumerate(of.plucks):
        spared = w.bar == 0  # a take that fails there is begun again
        roll, jitter = rng.uniform(), rng.normal() * hand.jitters_ms.get(w.finger, hand.jitter_ms) / 1000
        lucky = 0 if spared else hand.missed
        what = "missed" if roll < lucky else "wrong" if not spared and roll < hand.missed + hand.wrong else "hit"
        string, midi = w.string, w.midi
        if what == "wrong":
            string, midi = _slipped(of, w, rng)
            what = "hit" if string == w.string else "wrong"
        status.append(what)
        loud = hand.loudness * (0.5 if rng.uniform() < hand.soft else 1.0) * (1 + 0.06 * rng.normal())
        if what != "missed":
            time_s = when(w.time_s) + jitter + hand.late_ms.get(w.finger, 0.0) / 1000
            struck.append(Struck(time_s, time_s + RINGS_S, string, midi, min(max(loud, 0.05), 1.0), k))
        if not spared and rng.uniform() < hand.extra:
            struck += _stray(of, w, when, loud, rng)
    return Played(_damped(of, struck, when), tuple(status), hand.hesitations)


def _slipped(of: Score, w: Written, rng: Rng) -> tuple[int, int]:
    """A neighbouring string instead, at the fret the shape has there, that nobody else strikes then."""
    busy = {(o.string, o.midi) for o in of.plucks if abs(o.time_s - w.time_s) < 1e-9}
    frets = of.frets(w.time_s)
    near = [s for s in frets if 0 < abs(s - w.string) <= 2 and (s, OPEN[s] + frets[s]) not in busy]
    near = [s for s in near if OPEN[s] + frets[s] not in {midi for _, midi in busy}]
    string = min(near, key=lambda s: (abs(s - w.string), rng.uniform()), default=w.string)
    return string, OPEN[string] + frets.get(string, w.fret)


def _stray(of: Score, w: Written, when: Callable[[float], float], loud: float, rng: Rng) -> list[Struck]:
    """A pluck that nobody asked for, half way to the next one, on any string of the shape."""
    later = [o.time_s for o in of.plucks if o.time_s > w.time_s + 1e-9]
    frets = of.frets(w.time_s)
    if not later or not frets:
        return []
    string = int(rng.choice(sorted(frets)))
    time_s = when((w.time_s + later[0]) / 2)
    return [Struck(time_s, time_s + RINGS_S, string, OPEN[string] + frets[string], loud, None)]


def _damped(of: Score, struck: Iterable[Struck], when: Callable[[float], float]) -> tuple[Struck, ...]:
    """Each string rings until the finger lies down for its next pluck, or the fretting hand leaves its note."""
    moves = [(when(t) - 0.02, frets) for t, frets in of.changes()]
    rows = sorted(struck, key=lambda s: (s.time_s, s.string))
    out = []
    for k, s in enumerate(rows):
        ends = [o.time_s - TOUCH_S for o in rows[k + 1 :] if o.string == s.string][:1]
        fret = s.midi - OPEN[s.string]
        # A pluck that belongs to a new chord may come a little before the bar line.
        ends += [t for t, frets in moves if t > s.time_s + 0.08 and frets.get(s.string) != fret][:1]
        out.append(replace(s, ends_s=max(min([s.ends_s, *ends]), s.time_s + 0.02)))
    return tuple(out)


def together(times: Iterable[float]) -> list[float]:
    """Onsets nearer than TOGETHER_S to the first of them as one."""
    out: list[float] = []
    for t in sorted(times):
        if not out or t - out[-1] > TOGETHER_S:
            out.append(t)
    return out


# --- how it sounds


def by_soundfont(
    struck: Sequence[Struck], seconds: float, program: int = STEEL, *, room: bool = False, cents: float = 0.0
) -> Sound:
    """The plucks as FluidSynth sounds them, mono, a channel for each string so that equal pitches part."""
    notes = [(s.time_s, s.ends_s, s.string - 1, s.midi, round(127 * s.loudness)) for s in struck]
    return _rendered(tuple(notes), seconds, program, room, cents)


def voice_by_soundfont(sung: Sequence[tuple[float, float, int]], seconds: float, program: int = OOHS) -> Sound:
    """Notes of (begin, end, midi) by a sung preset."""
    return _rendered(tuple((a, b, 0, midi, 100) for a, b, midi in sung), seconds, program, False, 0.0)


@cache
def _rendered(
    notes: tuple[tuple[float, float, int, int, int], ...], seconds: float, program: int, room: bool, cents: float
) -> Sound:
    ticks_a_second = 20000
    events = [(a, 1, c, midi, v) for a, _, c, midi, v in notes] + [(b, 0, c, midi, 0) for _, b, c, midi, _ in notes]
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500000)])
    for channel in range(6):
        track.append(mido.Message("program_change", channel=channel, program=program))
        track.append(mido.Message("pitchwheel", channel=channel, pitch=round(cents / 200 * 8192)))
    at = 0
    for time_s, on, channel, midi, velocity in sorted(events):
        tick = round(time_s * ticks_a_second)
        kind = "note_on" if on else "note_off"
        track.append(mido.Message(kind, channel=channel, note=midi, velocity=velocity, time=max(tick - at, 0)))
        at = max(at, tick)
    file = mido.MidiFile(ticks_per_beat=ticks_a_second // 2)
    file.tracks.append(track)
    with tempfile.TemporaryDirectory() as folder:
        made, raw = Path(folder) / "made.mid", Path(folder) / "made.raw"
        file.save(made)
        how = [
            "-n",
            "-i",
            "-q",
            "-R",
            str(int(room)),
            "-C",
            "0",
            "-g",
            "0.5",
            "-r",
            str(RATE),
            "-T",
            "raw",
            "-O",
            "s16",
        ]
        how += ["-o", "synth.dynamic-sample-loading=1", "-F", str(raw)]
        subprocess.run(["fluidsynth", *how, str(SOUND_FONT), str(made)], check=True, capture_output=True, timeout=120)
        both = np.fromfile(raw, dtype="<i2").reshape(-1, 2).astype(float)
    return fitted(both.mean(axis=1) / 32768, seconds)


def fitted(sound: Sound, seconds: float) -> Sound:
    """Cut or filled with silence to this length."""
    out = np.zeros(round(seconds * RATE))
    out[: len(sound)] = sound[: len(out)]
    return out


def by_model(struck: Sequence[Struck], seconds: float, *, cents: Mapping[int, float] | None = None) -> Sound:
    """The plucks as sums of partials; each begins on the frame round(time_s * RATE). `cents`: strings out of tune."""
    out = np.zeros(round(seconds * RATE) + 1)
    for k, s in enumerate(struck):
        tone = _tone(s.midi, s.string, round((cents or {}).get(s.string, 0.0), 3), k % 4)
        first = round(s.time_s * RATE)
        n = min(round(s.ends_s * RATE) - first, len(tone), len(out) - first)
        piece = tone[:n].copy()
        fade = min(round(0.008 * RATE), n)
        piece[n - fade :] *= np.linspace(1, 0, fade)
        out[first : first + n] += piece * s.loudness**2 * 0.25
    return out[:-1]


@cache
def _tone(midi: int, string: int, cents: float, take: int) -> Sound:
    """Three seconds of one string, peak about 1; `take` gives other phases and another nail."""
    rng = np.random.default_rng([midi, string, take])
    hz = 440 * 2 ** ((midi - 69 + cents / 100) / 12)
    k = np.arange(1, 40)
    stiff = {6: 1.2e-4, 5: 8e-5, 4: 5e-5, 3: 1e-4, 2: 6e-5, 1: 4e-5}[string]
    partial = k * hz * np.sqrt(1 + stiff * k**2)
    k, partial = k[partial < 9000], partial[partial < 9000]
    place = rng.uniform(0.12, 0.22)  # of the string's length: a comb over the partials
    strength = (np.abs(np.sin(np.pi * k * place)) + 0.03) / k**1.2 * rng.uniform(0.6, 1.4, len(k))
    decay = 0.7 + 0.35 * k + hz / 400  # per second; the high ones die first
    pole = 2j * np.pi * partial / RATE - decay / RATE
    block, blocks = 256, round(RINGS_S * RATE) // 256
    coarse = np.exp(np.outer(np.arange(blocks) * block, pole)) * (
        strength * np.exp(2j * np.pi * rng.uniform(size=len(k)))
    )
    tone = (coarse @ np.exp(np.outer(pole, np.arange(block)))).real.ravel()
    tone /= np.abs(tone).max()
    rise = round(rng.uniform(0.0005, 0.002) * RATE)
    tone[:rise] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 1) / rise)
    nail = np.diff(rng.normal(size=round(0.012 * RATE) + 1)) * np.exp(-np.arange(round(0.012 * RATE)) / (0.002 * RATE))
    tone[: len(nail)] += nail * rng.uniform(0.02, 0.08)
    return tone


# --- what else is on a recording


def melody(of: Score, *, seed: int = 0, spread_ms: float = 35.0, beats: float = 2.0) -> list[tuple[float, float, int]]:
    """A sung line in tones of the chords, (begin, end, midi): a note each `beats`, as far from the beat as an ensemble.

    Sounds together spread by 30 to 50 ms in ensembles (Rasch 1979, Acustica 43:121-131).
    """
    rng = np.random.default_rng(seed)
    out = []
    for at in np.arange(0, of.seconds - 0.1, beats * of.beat_s):
        frets = of.frets(float(at))
        if not frets or rng.uniform() < 0.1:  # breath
            continue
        tones = sorted({(OPEN[s] + f) % 12 + 12 * o for s, f in frets.items() for o in (4, 5)} & set(range(53, 66)))
        begin = max(float(at) + rng.normal() * spread_ms / 1000, 0.0)
        out.append((begin, begin + beats * of.beat_s * rng.uniform(0.6, 0.9), int(rng.choice(tones))))
    return out


_VOWELS = ((700, 1150, 2600), (400, 2000, 2700), (300, 2300, 3000), (450, 850, 2500), (320, 800, 2400))


def voice_by_model(
    sung: Sequence[tuple[float, float, int]], seconds: float, *, seed: int = 0, words: bool = True, hard: bool = False
) -> Sound:
    """A voice: gliding, with vibrato (5.5 a second, +-35 cents) and formants.

    words: consonants before notes. hard: it begins at once, as a shout does.
    """
    rng = np.random.default_rng(seed)
    out = np.zeros(round(seconds * RATE) + RATE)
    before: float | None = None
    for begin, end, midi in sung:
        n, first = round((end - begin) * RATE), round(begin * RATE)
        t = np.arange(n) / RATE
        glide = (0.0 if before is None else np.clip(before - midi, -4, 4)) * np.exp(-t / 0.03)
        shake = 0.35 * np.clip((t - 0.25) / 0.3, 0, 1) * np.sin(2 * np.pi * (5.5 * t + rng.uniform()))
        hz = 440 * 2 ** ((midi - 69 + glide + shake + 0.1 * rng.normal()) / 12)
        turn = np.exp(2j * np.pi * np.cumsum(hz) / RATE)
        formants, wide = _VOWELS[int(rng.integers(len(_VOWELS)))], (90, 120, 180)
        tone, now = np.zeros(n), turn.copy()
        for k in range(1, 26):
            at = k * 440 * 2 ** ((midi - 69) / 12)
            gain = sum(a / (1 + ((at - f) / w) ** 2) for f, w, a in zip(formants, wide, (1.0, 0.5, 0.25), strict=True))
            tone += (gain + 0.01) / k**0.7 * now.real
            now *= turn
        tone *= np.clip(t / (rng.uniform(0.03, 0.09) * (0.2 if hard else 1)), 0, 1) ** 1.5 * np.clip(
            (t[-1] - t) / 0.08, 0, 1
        )
        out[first : first + n] += tone / np.abs(tone).max()
        if words and rng.uniform() < 0.7 and first > RATE // 8:
            long = round(rng.uniform(0.012, 0.1) * RATE)
            hiss = np.diff(rng.normal(size=long + 1)) * np.hanning(long) * rng.uniform(0.05, 0.25) * (3 if hard else 1)
            out[first - long : first] += hiss
        before = midi
    return out[: round(seconds * RATE)]


def squeaks(at: Iterable[float], seconds: float, seed: int = 0) -> Sound:
    """Wound strings under moving fingers: a tenth of a second of noise in a band that rises or falls."""
    rng = np.random.default_rng(seed)
    out = np.zeros(round(seconds * RATE) + RATE)
    for begin in at:
        n = round(rng.uniform(0.06, 0.14) * RATE)
        low, high = rng.uniform(700, 1500), rng.uniform(1800, 3500)
        sweep = np.linspace(*((low, high) if rng.uniform() < 0.5 else (high, low)), n)
        wander = np.convolve(rng.normal(size=n + 200), np.ones(200) / 14, "valid")[:n]
        first = max(round(begin * RATE) - n, 0)
        out[first : first + n] += np.sin(2 * np.pi * np.cumsum(sweep) / RATE + wander) * np.hanning(n) * 0.02
    return out[: round(seconds * RATE)]


def rms(sound: Sound) -> float:
    """Root mean square where there is sound."""
    live = sound[np.abs(sound) > 1e-5]
    return float(np.sqrt(np.mean(live**2))) if len(live) else 0.0


def at_db(sound: Sound, db: float, beside: Sound) -> Sound:
    """`sound` made this many dB louder (negative: softer) than `beside`."""
    return sound * (rms(beside) / (rms(sound) or 1.0) * 10 ** (db / 20))


def hiss(like: Sound, db: float, seed: int = 0) -> Sound:
    """Noise as long as `like`, half white, half pink, with some mains hum, `db` against its level."""
    return at_db(np.roll(np.resize(_noise(), len(like)), 7919 * seed), db, like)


@cache
def _noise() -> Sound:
    """Twelve seconds of it, that end as they begin (fifty hums a second, to the frame)."""
    size = 600 * RATE // 50
    rng = np.random.default_rng(1)
    white, spectrum = rng.normal(size=size), np.fft.rfft(rng.normal(size=size))
    pink = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.arange(len(spectrum)), 20)), size)
    hum = np.sin(2 * np.pi * 50 * np.arange(size) / RATE)
    return white / rms(white) + pink / rms(pink) + 0.5 * hum


# --- recordings


@dataclass(frozen=True)
class Recording:
    """A sound, what was written and what was truly played (in the recording's time); the first beat is at `lead_s`."""

    sound: NDArray[np.float32]
    score: Score
    truth: Played
    lead_s: float
    rate: int = RATE

    @property
    def seconds(self) -> float:
        """How long."""
        return len(self.sound) / self.rate


Guitar = Callable[[Sequence[Struck], float], Sound]


def recorded(
    of: Score,
    hand: Hand = Hand(),
    guitar: Guitar = by_model,
    *,
    seed: int = 0,
    lead_s: float = 1.0,
    lead: Callable[[float], Sound] | None = None,  # what is heard before, given how long
    voice: Callable[[Sequence[tuple[float, float, int]], float], Sound] | None = None,
    voice_db: float = 0.0,  # against the guitar
    sung: Sequence[tuple[float, float, int]] | None = None,  # from the first beat; usual: `melody`
    noise_db: float | None = -60.0,
    squeaking: bool = False,  # at each change of chord
    made: Callable[[Sound], Sound] | None = None,  # done to the whole at last
) -> Recording:
    """One take of `of` by `hand`, recorded."""
    truth = played(of, hand, seed).moved(lead_s)
    seconds = max(s.time_s for s in truth.struck) + 2.5
    sound = guitar(truth.struck, seconds)
    strings = sound
    if lead is not None:
        before = lead(lead_s)
        sound = sound + fitted(before * (0.5 * np.abs(strings).max() / np.abs(before).max()), seconds)
    if voice is not None:
        notes = melody(of, seed=seed) if sung is None else sung
        later = [(a + lead_s, b + lead_s, midi) for a, b, midi in notes]
        sound = sound + at_db(voice(later, seconds), voice_db, strings)
    if squeaking:
        sound = sound + squeaks([lead_s + t for t, _ in of.changes()], seconds, seed)
    if noise_db is not None:
        sound = sound + hiss(strings, noise_db, seed)
    if made is not None:
        sound = made(sound)
    peak = np.abs(sound).max()
    return Recording((sound * min(0.9 / peak, 1.0 if made else 0.9 / peak)).astype(np.float32), of, truth, lead_s)
