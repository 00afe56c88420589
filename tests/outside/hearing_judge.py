"""The kinds of recording that the ear is tried on, and a judge who says how much of what was played it has heard.

The judge knows the truth of a recording (`recordings.py`) and holds what the ear says against it, pluck by pluck.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np

from tests.outside.recordings import (
    NYLON,
    OPEN,
    RATE,
    STEEL,
    Hand,
    Recording,
    Score,
    Sound,
    Struck,
    by_model,
    by_soundfont,
    melody,
    recorded,
    score,
    together,
    voice_by_model,
    voice_by_soundfont,
)


def steel(struck: Sequence[Struck], seconds: float) -> Sound:
    """The sound font's steel strings."""
    return by_soundfont(struck, seconds, STEEL)


def nylon(struck: Sequence[Struck], seconds: float) -> Sound:
    """The sound font's nylon strings."""
    return by_soundfont(struck, seconds, NYLON)


def clipped(sound: Sound) -> Sound:
    """Recorded 9 dB too loud: the tops are cut off."""
    top = np.abs(sound).max() / 10 ** (9 / 20)
    return np.clip(sound, -top, top) * 0.9 / top


def fading(sound: Sound) -> Sound:
    """The player turns away: 15 dB down and half of it up again, in steps a second long."""
    t = np.arange(len(sound)) / RATE
    db = np.interp(t / t[-1], [0, 0.3, 0.5, 0.8, 1], [0, 0, -15, -15, -7])
    return sound / np.abs(sound).max() * 0.9 * 10 ** (db / 20)


def talk(seconds: float, seed: int = 0) -> Sound:
    """Something like speech: short low syllables, four a second."""
    rng = np.random.default_rng(seed)
    starts = np.cumsum(rng.uniform(0.15, 0.35, size=int(seconds / 0.15)))
    syllables = [(float(a), float(a + rng.uniform(0.08, 0.2)), int(rng.integers(43, 52))) for a in starts]
    return voice_by_model([s for s in syllables if s[1] < seconds - 0.3], seconds, seed=seed)


def clicks(times: Iterable[float], seconds: float) -> Sound:
    """Short wooden clicks: 12 ms of two high partials, without the project's own click."""
    t = np.arange(round(0.05 * RATE)) / RATE
    one = np.exp(-t / 0.006) * (np.sin(2 * np.pi * 1750 * t) + 0.6 * np.sin(2 * np.pi * 2900 * t)) * 0.4
    out = np.zeros(round(seconds * RATE) + len(one))
    for at in times:
        out[round(at * RATE) : round(at * RATE) + len(one)] += one
    return out[: round(seconds * RATE)]


def counted(beat_s: float) -> Callable[[float], Sound]:
    """Four clicks, a beat apart, the last a beat before the take."""
    return lambda lead_s: clicks([lead_s - k * beat_s for k in (4, 3, 2, 1) if lead_s > k * beat_s], lead_s)


def noodling(lead_s: float) -> Sound:
    """Strings tried one after the other, in no time and no order, until a second before the take."""
    rng = np.random.default_rng(30)
    times = np.arange(0.5, lead_s - 1.5, 0.45) + rng.uniform(-0.15, 0.15, len(np.arange(0.5, lead_s - 1.5, 0.45)))
    strings = [int(rng.integers(1, 7)) for _ in times]
    return by_model(
        [Struck(float(t), float(t) + 0.8, s, OPEN[s], 0.6, None) for t, s in zip(times, strings, strict=True)], lead_s
    )


def false_start(lead_s: float) -> Sound:
    """The take's own first bar, broken off a bar before the take begins in earnest."""
    of = _plain(1)
    first = [w for w in of.plucks if w.bar == 0]
    begin = lead_s - 2 * of.beats * of.beat_s
    return by_model(
        [Struck(begin + w.time_s, begin + w.time_s + 1.5, w.string, w.midi, 0.7, None) for w in first], lead_s
    )


CHORDS = "C | Am | F | G"
STUMBLING = Hand(jitter_ms=8, missed=0.05, wrong=0.05, extra=0.04, late_ms={"p": 6})
STEADY = Hand(jitter_ms=5)
HESITANT = Hand(jitter_ms=5, hesitations=((3, Fraction(2), 0.4), (7, Fraction(0), 1.0), (9, Fraction(1, 2), 0.6)))
SLOWING = Hand(jitter_ms=5, drift_ms_per_min=1200)


def _plain(loops: int = 2) -> Score:
    return score("outside-in", CHORDS, 96, loops=loops)


KINDS: dict[str, Callable[[], Recording]] = {
    "model, clean": lambda: recorded(_plain(), STEADY, seed=1),
    "model, sixteenths at 120": lambda: recorded(score("inside-out-sixteenths", CHORDS, 120), STEADY, seed=2),
    "model, 20 cents out of tune": lambda: recorded(
        _plain(), STEADY, lambda s, n: by_model(s, n, cents={6: 20, 5: -15, 4: 10, 3: -20, 2: 15, 1: -10}), seed=3
    ),
    "model, stumbling": lambda: recorded(_plain(3), STUMBLING, seed=4),
    "model, hesitations": lambda: recorded(_plain(3), HESITANT, seed=11),
    "model, slowing down": lambda: recorded(_plain(3), SLOWING, seed=12),
    "steel, clean": lambda: recorded(_plain(), STEADY, steel, seed=5),
    "steel, clean, sixteenths at 120": lambda: recorded(
        score("inside-out-sixteenths", CHORDS, 120), STEADY, steel, seed=6
    ),
    "steel, swing": lambda: recorded(score("swing-easy", CHORDS, 110, loops=2), STEADY, steel, seed=7),
    "steel, six-eight": lambda: recorded(score("six-eight-arpeggio", CHORDS, 60, loops=3), STEADY, steel, seed=8),
    "steel, thumb alone": lambda: recorded(
        score("outside-in", CHORDS, 96, loops=2, layer="thumb"), STEADY, steel, seed=9
    ),
    "steel, stumbling": lambda: recorded(_plain(3), STUMBLING, steel, seed=10),
    "steel, hesitations": lambda: recorded(_plain(3), HESITANT, steel, seed=11),
    "steel, slowing down": lambda: recorded(_plain(3), SLOWING, steel, seed=12),
    "steel, soft plucks": lambda: recorded(_plain(), replace(STEADY, soft=0.3), steel, seed=13),
    "steel, room": lambda: recorded(_plain(), STEADY, lambda s, n: by_soundfont(s, n, STEEL, room=True), seed=14),
    "steel, noise at -20 dB": lambda: recorded(_plain(), STEADY, steel, seed=15, noise_db=-20),
    "steel, clipped": lambda: recorded(_plain(), STEADY, steel, seed=16, made=clipped),
    "steel, levels change": lambda: recorded(_plain(), STEADY, steel, seed=17, made=fading),
    "steel, count-in before": lambda: recorded(_plain(), STEADY, steel, seed=18, lead_s=3.4, lead=counted(60 / 96)),
    "steel, 12 s of talk before": lambda: recorded(_plain(), STEADY, steel, seed=19, lead_s=12.3, lead=talk),
    "steel, 10 s of noodling before": lambda: recorded(_plain(), STEADY, steel, seed=30, lead_s=10.6, lead=noodling),
    "steel, false start before": lambda: recorded(_plain(), STEADY, steel, seed=31, lead_s=7, lead=false_start),
    "steel, squeaks": lambda: recorded(_plain(), STEADY, steel, seed=32, squeaking=True),
    "steel, 20 cents sharp": lambda: recorded(_plain(), STEADY, lambda s, n: by_soundfont(s, n, cents=20), seed=33),
    "nylon, clean": lambda: recorded(_plain(), STEADY, nylon, seed=20),
    "nylon, waltz with a pinch": lambda: recorded(
        score("waltz-pinch-on-one", CHORDS, 120, loops=3), STEADY, nylon, seed=21
    ),
    "nylon, stumbling": lambda: recorded(_plain(3), STUMBLING, nylon, seed=22),
    "steel, stumbling, click in it": lambda: recorded(
        _plain(3),
        STUMBLING,
        steel,
        seed=34,
        voice=lambda sung, n: clicks([a for a, _, _ in sung], n),
        voice_db=-2,  # its peaks are then about as high as those of the plucks: it is short
        sung=[(k * 60 / 96, 0.0, 0) for k in range(48)],
    ),
    "steel, sung by a preset, -6 dB": lambda: recorded(
        _plain(), STEADY, steel, seed=23, voice=voice_by_soundfont, voice_db=-6
    ),
    "steel, sung, -12 dB": lambda: recorded(_plain(), STEADY, steel, seed=24, voice=voice_by_model, voice_db=-12),
    "steel, sung, -6 dB": lambda: recorded(_plain(), STEADY, steel, seed=25, voice=voice_by_model, voice_db=-6),
    "steel, sung, 0 dB": lambda: recorded(_plain(), STEADY, steel, seed=26, voice=voice_by_model, voice_db=0),
    "steel, sung, +6 dB": lambda: recorded(_plain(), STEADY, steel, seed=27, voice=voice_by_model, voice_db=6),
    "steel, shouted on each beat, 0 dB": lambda: recorded(
        _plain(),
        STEADY,
        steel,
        seed=35,
        voice=lambda sung, n: voice_by_model(sung, n, hard=True),
        sung=melody(_plain(), seed=35, beats=1),
    ),
    "nylon, sung, 0 dB, thumb alone": lambda: recorded(
        score("outside-in", CHORDS, 96, loops=2, layer="thumb"),
        STEADY,
        nylon,
        seed=28,
        voice=voice_by_model,
        voice_db=0,
    ),
    "steel, sung, stumbling": lambda: recorded(_plain(3), STUMBLING, steel, seed=29, voice=voice_by_model, voice_db=-3),
}


@cache
def kind(name: str) -> Recording:
    """The recording of this name, made once."""
    return KINDS[name]()


# --- the judge


def matched(true: Sequence[float], found: Sequence[float], window_s: float = 0.05) -> list[tuple[int, int]]:
    """As many pairs (index in true, in found) at most `window_s` apart as can be made, each used once.

    Both lists ascend. Where every window is equally wide, taking the earliest that fits each time makes the most pairs.
    """
    pairs, i, j = [], 0, 0
    while i < len(true) and j < len(found):
        # Rounded as a reference implementation does, that a distance of just the window still counts.
        if abs(round(true[i] - found[j], 9)) <= window_s:
            pairs.append((i, j))
            i, j = i + 1, j + 1
        elif true[i] < found[j]:
            i += 1
        else:
            j += 1
    return pairs


def f_measure(true: Sequence[float], found: Sequence[float], window_s: float = 0.05) -> float:
    """Harmonic mean of precision and recall; 0 where nothing agrees."""
    return 2 * len(matched(true, found, window_s)) / (len(true) + len(found)) if true or found else 0.0


@dataclass(frozen=True)
class Judged:
    """What the ear made of a recording, beside the truth. Shares are None where there was nothing to tell."""

    f: float  # of the plucks heard, with the extra ones
    hits: float  # of the plucks truly hit, told as hit
    false_wrong: float  # of the plucks truly hit, told as wrong
    false_missed: float
    unsure: float
    missed_told: float | None  # of the plucks truly missed, told as missed
    wrong_told: float | None  # of the wrong ones, told as wrong
    string_named: float | None  # of the wrong ones, told as wrong on the string that sounded
    extra_told: float | None  # of the extra plucks
    false_extra: int
    error_ms: float  # half of the hits are nearer than this, without the constant
    error95_ms: float
    alone95_ms: float  # the same of the plucks that are no part of a pinch
    constant_ms: float


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None


def judged(heard: Any, of: Recording) -> Judged:
    """Hold a `Heard` of the ear against the truth."""
    truth = of.truth
    told = [p.status for p in heard.plucks]
    pairs = list(zip(truth.status, told, strict=True))
    count = {pair: pairs.count(pair) for pair in set(pairs)}
    all_of = {status: max(truth.status.count(status), 0) for status in ("hit", "missed", "wrong")}
    was = [truth.of(k) for k in range(len(pairs))]
    at = [p.meant.time_s for p in heard.plucks]
    errors, alone = [], []
    for p, s, pair in zip(heard.plucks, was, pairs, strict=True):
        if pair == ("hit", "hit") and p.time_s is not None and s is not None:
            errors.append(1000 * (p.time_s - s.time_s))
            alone.append(at.count(p.meant.time_s) == 1)
    constant = float(np.median(errors)) if errors else 0.0
    away, lone = (
        (np.abs(np.array(errors) - constant), np.array(alone)) if errors else (np.array([np.inf]), np.array([False]))
    )
    named = sum(
        1
        for p, s, pair in zip(heard.plucks, was, pairs, strict=True)
        if pair == ("wrong", "wrong") and s is not None and p.string == s.string
    )
    stray = sorted(s.time_s for s in truth.struck if s.meant is None)
    extra = sorted(x.time_s for x in heard.extra)
    told_extra = len(matched(stray, extra))
    heard_at = together([p.time_s for p in heard.plucks if p.time_s is not None and p.status != "missed"] + extra)
    hits = all_of["hit"] or 1
    return Judged(
        f_measure(truth.onsets, heard_at),
        count.get(("hit", "hit"), 0) / hits,
        count.get(("hit", "wrong"), 0) / hits,
        count.get(("hit", "missed"), 0) / hits,
        count.get(("hit", "unsure"), 0) / hits,
        _share(count.get(("missed", "missed"), 0), all_of["missed"]),
        _share(count.get(("wrong", "wrong"), 0), all_of["wrong"]),
        _share(named, all_of["wrong"]),
        _share(told_extra, len(stray)),
        len(extra) - told_extra,
        float(np.median(away)),
        float(np.quantile(away, 0.95)),
        float(np.quantile(away[lone], 0.95)) if lone.any() else np.inf,
        constant,
    )


# --- the ear's own values, made from ours (imported late: the rig stands without the ear)


def meant(of: Score) -> list[Any]:
    """The score as the ear's `Meant`."""
    from coach.ear.meant import Meant

    return [Meant(w.bar, w.beat, w.string, w.fret, w.midi, w.finger, w.time_s) for w in of.plucks]


def shapes(of: Score) -> list[dict[int, int]]:
    """For each bar the pitch of every string that its shape lets sound."""
    bars = [of.frets(k * of.beats * of.beat_s) for k in range(len(of.held))]
    return [{string: OPEN[string] + fret for string, fret in frets.items()} for frets in bars]


def heard(of: Recording, **more: Any) -> Any:
    """What the ear hears in it, knowing what was written and the shapes under it."""
    from coach.ear.hearing import hear

    return hear(of.sound, of.rate, meant(of.score), shapes=shapes(of.score), **more)


@cache
def heard_kind(name: str) -> Any:
    """What the ear hears in the recording of this name, asked once."""
    return heard(kind(name))


def perfectly_heard(of: Recording) -> Any:
    """What a perfect ear would say: the truth in the ear's own words, the median offset taken for the latency.

    What is waited for is late by the wait; what follows is held against where the wait has put the beat.
    """
    from coach.ear.hearing import Extra, Heard, HeardPluck

    def waited(w: Any) -> float:
        return sum(s for bar, beat, s in of.truth.hesitations if (bar, beat) < (w.bar, w.beat))

    rows = meant(of.score)
    was = [of.truth.of(k) for k in range(len(rows))]
    late = [
        None if s is None else 1000 * (s.time_s - of.lead_s - w.time_s - waited(w))
        for s, w in zip(was, rows, strict=True)
    ]
    constant = float(np.median([ms for ms in late if ms is not None]))
    plucks = [
        HeardPluck(w, status, s and s.string, s and s.time_s, None if ms is None else ms - constant)
        for w, s, ms, status in zip(rows, was, late, of.truth.status, strict=True)
    ]
    extra = [Extra(s.time_s, s.string) for s in of.truth.struck if s.meant is None]
    return Heard(constant, tuple(plucks), tuple(extra))
