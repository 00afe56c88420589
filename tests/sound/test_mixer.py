"""Clicks and plucks stand at their exact samples; strings ring until plucked again; nothing is ever too loud."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from coach.music.tempo import TempoPlan, constant_tempo, smooth_tempo, stepped_tempo
from coach.picking.plucks import ACCENT, SOFT
from coach.sound.click import LENGTH_S, PEAK, knock
from coach.sound.humming import hum
from coach.sound.mixer import CEILING, KNEE, NOTHING, Mixer, limit, render, render_bars
from coach.sound.score import BEAT, DOWN, BarScore, Tone
from coach.sound.timing import clicks_of, place_bars
from tests.sound.hands import RATE, bar, onsets, picked_bar, pluck

PLANS = {
    "137 bpm": constant_tempo(Fraction(137)),
    "steps": stepped_tempo(Fraction(80), Fraction(137), Fraction(3), Fraction(16)),
    "smooth": smooth_tempo(Fraction(61), Fraction(137), Fraction(640)),
}


def scores_of(plan: TempoPlan, bars: int) -> list[BarScore]:
    """Bars that follow a plan: the tempo at each bar line and just before the next."""
    scores = []
    for n in range(bars):
        segment = plan._segment(Fraction(4 * n))
        start = plan.bpm_at(Fraction(4 * n))
        scores.append(bar(n, start, start + 4 * segment.slope))
    return scores


@pytest.mark.parametrize("name", PLANS)
def test_clicks_of_200_bars_are_at_the_exact_sample(name: str) -> None:
    """Mixed bar by bar, all 800 clicks of 200 bars begin at round(t · rate) of the plan, 0 samples off."""
    plan = PLANS[name]
    scores = scores_of(plan, 200)
    sound = np.concatenate([piece[:, 0] for piece in render_bars(scores, RATE, guide_gain=0, tail_s=0)])
    meant = [round(plan.exact_seconds(Fraction(beat)) * RATE) for beat in range(800)]
    assert onsets(sound) == meant
    assert [click.frame for click in clicks_of(scores, RATE)] == meant


def test_137_bpm_does_not_drift_by_hand() -> None:
    """At 137 bpm beat 799 falls at 799 · 60/137 s: sample 16796496.35 of 48 kHz, so 16796496."""
    assert round(799 * 60 / 137 * 48000) == 16796496
    assert clicks_of(scores_of(constant_tempo(Fraction(137)), 200), 48000)[-1].frame == 16796496


def test_first_click_is_down_and_differs() -> None:
    """The first click of a bar is higher and heavier than the others; both are shorter than 30 ms."""
    kinds = [click.kind for click in clicks_of([bar(0, 90, beats=3), bar(1, 90, beats=3)], RATE)]
    assert kinds == [DOWN, BEAT, BEAT] * 2
    tops = {}
    for kind in (DOWN, BEAT):
        wave = knock(kind, RATE)
        tops[kind] = int(np.argmax(np.abs(np.fft.rfft(wave, RATE))))
        assert len(wave) < 0.030 * RATE
        assert LENGTH_S < 0.030
    assert tops[DOWN] > 1.3 * tops[BEAT]
    assert PEAK[DOWN] > PEAK[BEAT]


def test_click_peak_is_the_documented_one() -> None:
    """At full volume a click peaks at -9.1 dBFS (down) and -11.4 dBFS (beat), with or without accents in the guide."""
    assert 20 * np.log10(PEAK[DOWN]) == pytest.approx(-9.1, abs=0.05)
    assert 20 * np.log10(PEAK[BEAT]) == pytest.approx(-11.4, abs=0.05)
    loud = [pluck(2, 6, 40, ACCENT)]
    sound = render([bar(0, 60, plucks=loud)], RATE, tail_s=0)
    assert np.max(np.abs(sound[: RATE // 2])) == pytest.approx(PEAK[DOWN], abs=1e-6)


def test_click_starts_with_a_step() -> None:
    """The first sample of a click already stands at a fifth of its peak or more: the onset is known to the sample."""
    for kind in (DOWN, BEAT):
        for rate in (44100, 48000):
            assert abs(knock(kind, rate)[0]) > 0.2 * PEAK[kind]


def test_plucks_land_where_the_plan_says() -> None:
    """Each pluck's first sample is at round(t · rate): off-beats of a bar at 97 bpm that comes second."""
    second = bar(1, 97, plucks=[pluck("1/2", 2, 59), pluck("5/2", 3, 55)])
    second = BarScore(1, second.beats, second.bpm_from, second.bpm_to, (), second.plucks)
    first = BarScore(0, Fraction(4), Fraction(97), Fraction(97))
    sound = render([first, second], RATE)
    meant = [round(Fraction(60 * 9, 2 * 97) * RATE), round(Fraction(60 * 13, 2 * 97) * RATE)]
    assert int(np.flatnonzero(sound[:, 0])[0]) == meant[0]
    alone = render([first, BarScore(1, Fraction(4), Fraction(97), Fraction(97), (), second.plucks[:1])], RATE)
    shorter = min(len(sound), len(alone))
    assert int(np.flatnonzero(sound[:shorter, 0] != alone[:shorter, 0])[0]) == meant[1]


def test_string_rings_until_plucked_again() -> None:
    """A string plucked again falls silent within 3 ms of that moment, and not a sample before it."""
    mixer, plan = Mixer(RATE), constant_tempo(Fraction(60))
    once = BarScore(0, Fraction(4), Fraction(60), Fraction(60), (), (pluck(0, 5, 45),))
    again = BarScore(0, Fraction(4), Fraction(60), Fraction(60), (), (pluck(0, 5, 45), pluck(2, 5, 48)))
    other = BarScore(0, Fraction(4), Fraction(60), Fraction(60), (), (pluck(2, 5, 48),))
    alone, both, second = (mixer.mix(s, 0, 4 * RATE, plan, Fraction(0))[0][:, 0] for s in (once, again, other))
    line, damped = 2 * RATE, 2 * RATE + round(0.003 * RATE)
    assert np.array_equal(both[:line], alone[:line])
    assert np.allclose(both[damped:], second[damped:], atol=1e-7)
    assert np.max(np.abs(alone[damped : damped + 4800])) > 0.005


def test_string_rings_across_the_bar_line() -> None:
    """Two bars mixed apart, joined by the carry, are the same samples as one long bar."""
    plan = constant_tempo(Fraction(100))
    notes = (pluck(0, 6, 43), pluck("7/2", 4, 55), pluck(5, 4, 57), pluck("11/2", 1, 67))
    long = BarScore(0, Fraction(8), Fraction(100), Fraction(100), (), notes)
    halves = [
        BarScore(0, Fraction(4), Fraction(100), Fraction(100), (), notes[:2]),
        BarScore(1, Fraction(4), Fraction(100), Fraction(100), (), (pluck(1, 4, 57), pluck("3/2", 1, 67))),
    ]
    whole, _ = Mixer(RATE).mix(long, 0, plan.frame(Fraction(8), RATE), plan, Fraction(0))
    assert np.allclose(render(halves, RATE, tail_s=0, guide_gain=1.0), whole, atol=1e-6)


def test_a_bar_can_be_mixed_again() -> None:
    """Mixing a bar leaves the carry it was given as it was: a second time gives the same samples."""
    mixer, plan = Mixer(RATE), constant_tempo(Fraction(120))
    _, carry = mixer.mix(bar(0, 120, plucks=picked_bar()), 0, 2 * RATE, plan, Fraction(0), NOTHING)
    score = bar(1, 120, plucks=picked_bar())
    twice = [mixer.mix(score, 2 * RATE, 4 * RATE, plan, Fraction(4), carry) for _ in range(2)]
    assert np.array_equal(twice[0][0], twice[1][0])
    assert twice[0][1] == twice[1][1]
    assert carry.notes


def test_hard_chords_never_pass_minus_six_db() -> None:
    """Six accented strings at once, every beat, with the click, both at full volume: no sample over 0.501."""
    shape = {6: 40, 5: 47, 4: 52, 3: 56, 2: 59, 1: 64}
    chord = [pluck(beat, string, midi, ACCENT) for beat in range(4) for string, midi in shape.items()]
    sound = render([bar(n, 200, plucks=chord) for n in range(8)], RATE, guide_gain=1.0)
    assert np.max(np.abs(sound)) <= 0.501
    assert np.max(np.abs(sound)) > KNEE


def test_limiter_leaves_quiet_sound_alone() -> None:
    """Below the knee the limiter changes no bit; above it louder stays louder and the ceiling is never reached."""
    quiet = np.linspace(-KNEE, KNEE, 1001, dtype=np.float32)
    kept = quiet.copy()
    limit(kept)
    assert np.array_equal(kept, quiet)
    loud = np.linspace(KNEE, 0.8, 500, dtype=np.float32)
    limit(loud)
    assert np.all(np.diff(loud) > 0)
    assert loud[-1] < CEILING


def test_volumes_apart() -> None:
    """With the guide at 0 only the click is heard, with the click at 0 only the strings."""
    scores = [bar(0, 120, plucks=picked_bar())]
    click_only = render(scores, RATE, guide_gain=0.0, tail_s=0)
    assert np.array_equal(click_only, render([bar(0, 120)], RATE, tail_s=0))
    strings_only = render(scores, RATE, click_gain=0.0, tail_s=0)
    no_strokes = BarScore(0, Fraction(4), Fraction(120), Fraction(120), (), picked_bar())
    assert np.array_equal(strings_only, render([no_strokes], RATE, tail_s=0))


def test_no_knock_where_a_string_is_plucked_again() -> None:
    """Plucked again softly at full swing, the sound jumps by no more than the new pluck's own first sample does."""
    soft = [pluck(b, 5, 45, SOFT) for b in ("0", "1/2", "1", "3/2", "2", "5/2", "3", "7/2")]
    score = BarScore(0, Fraction(4), Fraction(93), Fraction(93), (), tuple(soft))
    sound = render([score], RATE, guide_gain=1.0)[:, 0]
    jumps = np.abs(np.diff(sound, prepend=np.float32(0)))
    assert jumps.max() <= 1.01 * jumps[:10].max()


def test_strings_stand_gently_apart() -> None:
    """String 6 is a little louder on the left, string 1 on the right, none by more than 5 dB."""
    for string, midi in ((6, 40), (1, 64)):
        score = BarScore(0, Fraction(1), Fraction(60), Fraction(60), (), (pluck(0, string, midi),))
        left, right = np.sqrt(np.mean(render([score], RATE) ** 2, axis=0))
        db = 20 * np.log10(left / right)
        assert 1 < (db if string == 6 else -db) < 5


def test_no_constant_part() -> None:
    """A bar of picking has no DC: its mean is below -80 dBFS."""
    sound = render([bar(n, 100, plucks=picked_bar()) for n in range(2)], RATE, click_gain=0)
    assert np.all(np.abs(np.mean(sound, axis=0)) < 1e-4)


def test_bars_are_placed_end_to_end() -> None:
    """Each bar's last frame is the next one's first, in a ramp too, and the plan before a bar never changes."""
    placed = list(place_bars(scores_of(PLANS["smooth"], 40), RATE))
    assert all(a.end_frame == b.start_frame for a, b in pairwise(placed))
    assert placed[9].plan.frame(Fraction(20), RATE) == placed[39].plan.frame(Fraction(20), RATE)


# The tune -----------------------------------------------------------------------------------


def hummed(number: int, tones: tuple[Tone, ...], bpm: int = 97) -> BarScore:
    """A bar of four beats with nothing in it but the tune."""
    return BarScore(number, Fraction(4), Fraction(bpm), Fraction(bpm), (), (), tones)


def test_a_hummed_note_lies_at_its_exact_sample_over_any_bar_line() -> None:
    """At 97 bpm, from beat 3 1/3 for three beats: the very samples of the tone at round(t · rate), bar line or not."""
    tone = Tone(Fraction(10, 3), Fraction(3), 64)
    sound = render([hummed(0, (tone,)), hummed(1, ())], RATE, tail_s=0)
    plan = constant_tempo(Fraction(97))
    first, last = plan.frame(Fraction(10, 3), RATE), plan.frame(Fraction(19, 3), RATE)
    wave = hum(64, last - first, RATE)
    assert not sound[:first].any()
    assert np.array_equal(sound[first : first + len(wave), 0], wave)
    assert np.array_equal(sound[:, 0], sound[:, 1])
    assert not sound[first + len(wave) :].any()


def test_the_tune_follows_the_guide_s_volume_and_rings_out() -> None:
    """Guide at nothing: no tune. A note to the end of the last bar dies away after it."""
    score = hummed(0, (Tone(Fraction(3), Fraction(1), 60),))
    assert not render([score], RATE, guide_gain=0).any()
    sound = render([score], RATE)
    end = constant_tempo(Fraction(97)).frame(Fraction(4), RATE)
    assert len(sound) > end
    assert sound[end : end + 1000].any()


def test_guitar_click_and_tune_together_never_clip() -> None:
    """All six strings, accented, a click and a hummed note at once, as loud as can be: nothing above the ceiling."""
    plucks = tuple(pluck(0, string, 40 + 5 * (6 - string), ACCENT) for string in range(1, 7))
    score = replace(bar(0, Fraction(97)), plucks=plucks, tune=(Tone(Fraction(0), Fraction(4), 64),))
    assert float(np.max(np.abs(render([score], RATE)))) <= CEILING
