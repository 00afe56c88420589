"""The recordings that the ear is tried on, and the judge, themselves tried: against closed formulas and mir_eval.

mir_eval 0.8.2 is the reference implementation of the scores of MIREX (Raffel et al. 2014, ISMIR): `onset.f_measure`.
"""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from tests.outside.hearing_judge import f_measure, matched, talk
from tests.outside.recordings import (
    NYLON,
    OPEN,
    RATE,
    STEEL,
    Hand,
    Score,
    Struck,
    by_model,
    by_soundfont,
    melody,
    missing,
    played,
    recorded,
    score,
    together,
    voice_by_model,
)
from tests.outside.test_strings_in_tune import cents_off


def one(time_s: float, midi: int, string: int, loudness: float = 0.7) -> Struck:
    """One pluck that rings for two seconds and a half."""
    return Struck(time_s, time_s + 2.5, string, midi, loudness, None)


def needs_soundfont() -> None:
    """Skip where the sound font or its player is not there."""
    if missing():
        pytest.skip(missing())


# --- the matcher


def test_published_scores() -> None:
    """The window counts when just met; one estimate serves one reference; a duplicate and a miss cost what they do.

    Computed with mir_eval 0.8.2 (references 5.9).
    """
    assert f_measure([1.0], [1.05]) == 1.0
    assert f_measure([1.0], [1.0500001]) == 0.0
    assert f_measure([1.0, 1.04], [1.02]) == pytest.approx(2 / 3)
    assert f_measure([1.0, 2.0, 3.0], [1.0, 2.0, 2.01, 3.0]) == pytest.approx(0.857, abs=0.001)
    assert f_measure([1.0, 2.0, 3.0], [1.0, 3.0]) == pytest.approx(0.8)
    assert f_measure([], [1.0]) == f_measure([1.0], []) == 0.0


def test_the_matcher_agrees_with_mir_eval() -> None:
    """300 random lists, crowded enough that matches compete."""
    onset = pytest.importorskip("mir_eval.onset", reason="missing tool: mir_eval, of the test extra")
    rng = random.Random(7)
    for _ in range(300):
        true = sorted(rng.uniform(0, 3) for _ in range(rng.randint(1, 40)))
        found = sorted(rng.uniform(0, 3) for _ in range(rng.randint(1, 40)))
        theirs, _, _ = onset.f_measure(np.array(true), np.array(found), window=0.05)
        assert f_measure(true, found) == pytest.approx(theirs)


def test_negative_control_taking_the_nearest_first_is_not_enough() -> None:
    """A matcher that gives each onset its nearest would lose a pair here, and the comparison would show it."""
    true, found = [1.0, 1.03], [0.97, 1.01]
    assert matched(true, found) == [(0, 0), (1, 1)]
    nearest = {min(range(2), key=lambda j, t=t: abs(found[j] - t)) for t in true}
    assert len(nearest) == 1


# --- the model


@pytest.mark.parametrize("string", OPEN)
def test_the_model_begins_on_its_frame(string: int) -> None:
    """Nothing before the frame, something right after it, and the peak of the rise within 20 ms."""
    at = 0.51234
    sound = by_model([one(at, OPEN[string], string)], 2.0)
    first = round(at * RATE)
    assert not sound[:first].any()
    assert np.abs(sound[first : first + 3]).max() > 0
    early = np.abs(sound[first : first + RATE // 50]).max()
    assert early > 0.5 * np.abs(sound).max()


@pytest.mark.parametrize(("string", "wrong"), [(6, 0.0), (5, 20.0), (3, -20.0), (1, 10.0)])
def test_the_model_sounds_its_note(string: int, wrong: float) -> None:
    """Within 3 cents of the note and of how far out it is put; the stiffness of the string takes up to 1.5 of them."""
    sound = by_model([one(0.0, OPEN[string], string)], 2.5, cents={string: wrong})
    assert cents_off(sound, RATE, OPEN[string]) == pytest.approx(wrong, abs=3)


# --- the sound font


@pytest.mark.parametrize("program", [STEEL, NYLON])
def test_the_soundfont_is_late_by_a_constant(program: int) -> None:
    """Each note by itself reaches a tenth of its peak 6.5 to 15 ms after it is asked for.

    (Alone 7.8 to 12.8 ms, references 8.8; FluidSynth's blocks and milliseconds add up to 2.)
    """
    needs_soundfont()
    places = [(s, OPEN[s] + fret) for s in OPEN for fret in (0, 3)]
    notes = [one(0.25 + 3.0371 * k, midi, s) for k, (s, midi) in enumerate(places)]
    sound = by_soundfont(notes, notes[-1].time_s + 3, program)
    late = []
    for note in notes:
        piece = np.abs(sound[round(note.time_s * RATE) : round((note.time_s + 0.15) * RATE)])
        late.append(1000 * np.argmax(piece > piece.max() / 10) / RATE)
        assert abs(cents_off(sound[round(note.time_s * RATE) :], RATE, note.midi)) < 15
    assert 6.5 < min(late) <= max(late) < 15, late


def test_a_string_out_of_tune_is_so() -> None:
    """Twenty cents by the MIDI pitch wheel (usual range of two semitones, General MIDI level 1)."""
    needs_soundfont()
    straight = by_soundfont([one(0.0, 55, 3)], 2.5)
    bent = by_soundfont([one(0.0, 55, 3)], 2.5, cents=20)
    assert cents_off(bent, RATE, 55) - cents_off(straight, RATE, 55) == pytest.approx(20, abs=1)


# --- the hand


def long_score() -> Score:
    """320 plucks."""
    return score("outside-in", "C | Am | F | G", 96, loops=8)


def test_written_times_are_arithmetic() -> None:
    """At 96 bpm the eighths of bar 3 fall 7.5 s and multiples of 0.3125 s after the first beat; off-beats swing."""
    times = [w.time_s for w in long_score().plucks if w.bar == 3]
    assert min(times) == pytest.approx(7.5)
    assert sorted({round((t - 7.5) / 0.3125, 9) for t in times}) == list(range(8))
    swing = [w.time_s for w in score("swing-easy", "C", 60).plucks if w.beat == Fraction(1, 2)]
    assert swing == [pytest.approx(0.6)]


def test_a_clean_hand_hits_everything() -> None:
    """Every written pluck is struck within four of its jitters, on its string, at its pitch."""
    of = long_score()
    truth = played(of, Hand(jitter_ms=5), seed=1)
    assert set(truth.status) == {"hit"}
    for k, w in enumerate(of.plucks):
        s = truth.of(k)
        assert s is not None
        assert (s.string, s.midi) == (w.string, w.midi)
        assert abs(s.time_s - w.time_s) < 0.022


def test_mistakes_come_at_their_rates_and_are_what_they_say() -> None:
    """A tenth each, within three standard deviations; a wrong one sounds another pitch on another string."""
    of = long_score()
    truth = played(of, Hand(missed=0.1, wrong=0.1, extra=0.1), seed=2)
    n = len(of.plucks)
    for many in (truth.status.count("missed"), truth.status.count("wrong"), sum(s.meant is None for s in truth.struck)):
        assert abs(many - 0.1 * n) < 3 * (0.09 * n) ** 0.5 + 2
    assert len(truth.struck) == n - truth.status.count("missed") + sum(s.meant is None for s in truth.struck)
    for k, (w, status) in enumerate(zip(of.plucks, truth.status, strict=True)):
        s = truth.of(k)
        assert (s is None) == (status == "missed")
        if s is not None and status == "wrong":
            assert s.string != w.string
            assert s.midi != w.midi


def test_a_hesitation_moves_all_that_follows() -> None:
    """Before it nothing, from its place on 0.6 s; drift is in proportion to time."""
    of = long_score()
    truth = played(of, Hand(jitter_ms=0, hesitations=((2, Fraction(1), 0.6),)))
    late = {(w.bar, w.beat): s.time_s - w.time_s for w, s in zip(of.plucks, truth.struck, strict=True)}
    assert {round(x, 9) for (bar, beat), x in late.items() if (bar, beat) < (2, Fraction(1))} == {0}
    assert {round(x, 9) for (bar, beat), x in late.items() if (bar, beat) >= (2, Fraction(1))} == {0.6}
    slow = played(of, Hand(jitter_ms=0, drift_ms_per_min=600)).struck[-1].time_s
    assert slow - of.plucks[-1].time_s == pytest.approx(0.010 * of.plucks[-1].time_s)


def test_one_finger_late_is_only_that_finger() -> None:
    """Twenty milliseconds on every pluck of the ring finger, and none on the others."""
    of = long_score()
    truth = played(of, Hand(jitter_ms=0, late_ms={"a": 20}))
    for k, w in enumerate(of.plucks):
        s = truth.of(k)
        assert s is not None
        assert s.time_s - w.time_s == pytest.approx(0.02 if w.finger == "a" else 0)


def test_no_string_sounds_twice_at_once() -> None:
    """A string ends before its next pluck, with every mistake in it."""
    truth = played(long_score(), Hand(missed=0.1, wrong=0.1, extra=0.1), seed=3)
    for string in OPEN:
        rows = [s for s in truth.struck if s.string == string]
        gaps = [b.time_s - a.ends_s for a, b in pairwise(rows)]
        assert all(gap > -0.021 for gap in gaps)
        assert all(a.ends_s > a.time_s for a in rows)


# --- the rest of a recording


def test_onsets_of_a_pinch_are_one() -> None:
    """Nearer than 30 ms to the first counts as the same."""
    assert together([1.0, 1.02, 1.04, 1.2]) == [1.0, 1.04, 1.2]


def test_the_voice_is_as_loud_as_it_is_asked_to_be() -> None:
    """With the voice 6 dB above the guitar, taking the guitar away leaves 6 dB more than the guitar has."""
    of = score("outside-in", "C | Am", 96)
    plain = recorded(of, seed=1, noise_db=None, made=lambda s: s / 4)
    sung = recorded(of, seed=1, noise_db=None, made=lambda s: s / 4, voice=voice_by_model, voice_db=6)
    guitar, voice = plain.sound.astype(float), (sung.sound - plain.sound).astype(float)
    ratio = np.mean(voice[np.abs(voice) > 1e-5] ** 2) / np.mean(guitar[np.abs(guitar) > 1e-5] ** 2)
    assert 10 * np.log10(ratio) == pytest.approx(6, abs=0.5)


def test_the_voice_sings_its_melody() -> None:
    """The pitch of a long note, measured by the distance of its partials in an autocorrelation, is the note's."""
    sound = voice_by_model([(0.0, 2.0, 57)], 2.0, words=False)
    piece = sound[RATE // 2 : RATE]
    ring = np.fft.irfft(np.abs(np.fft.rfft(piece, 4 * len(piece))) ** 2)
    low = RATE // 300
    period = low + int(np.argmax(ring[low : RATE // 150]))
    assert 1200 * abs(np.log2(RATE / period / 220)) < 60


def test_talk_and_melody_are_there() -> None:
    """Talk fills its time; a melody has a note for most half bars, within reach of a voice."""
    assert np.mean(np.abs(talk(5)) > 1e-3) > 0.3
    notes = melody(score("outside-in", "C | Am | F | G", 96), seed=1)
    assert 5 <= len(notes) <= 8
    assert all(48 <= midi <= 68 for _, _, midi in notes)


def test_the_same_seed_makes_the_same_recording() -> None:
    """To the last sample; another seed another."""
    of = score("outside-in", "C", 96)
    first, again, other = (recorded(of, seed=seed) for seed in (5, 5, 6))
    assert np.array_equal(first.sound, again.sound)
    assert first.truth == again.truth
    assert other.truth != first.truth
