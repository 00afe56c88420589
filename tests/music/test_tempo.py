"""Tempo plans: exact beats to seconds and back."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from coach.errors import BadMusic
from coach.music.tempo import TempoPlan, bpm_value, constant_tempo, smooth_tempo, stepped_tempo
from tests.sentences import is_one_sentence

BPM = st.fractions(20, 400, max_denominator=20)
BEATS = st.fractions(0, 2000, max_denominator=48)
LENGTHS = st.integers(1, 400).map(Fraction)


@st.composite
def plans(draw: st.DrawFn) -> TempoPlan:
    """A plan of steps or a smooth ramp, then turned a few times to other tempos and ramps."""
    start, end = draw(BPM), draw(BPM)
    plan = draw(
        st.sampled_from(
            [
                constant_tempo(start),
                smooth_tempo(start, end, draw(LENGTHS)),
                stepped_tempo(start, end, Fraction(7), draw(LENGTHS)),
            ]
        )
    )
    beat = Fraction(0)
    for _ in range(draw(st.integers(0, 4))):
        beat += draw(LENGTHS)
        length, now, then = draw(LENGTHS), draw(BPM), draw(BPM)
        plan = plan.turn(beat, now, (then - now) / length)
        beat += length
        plan = plan.turn(beat, then)
    return plan


@given(plans(), BEATS)
def test_beats_come_back_from_seconds(plan: TempoPlan, beat: Fraction) -> None:
    """Seconds of a beat, then the beat of those seconds: the same beat to a millionth."""
    assert plan.beat_at(plan.seconds(beat)) == pytest.approx(float(beat), abs=1e-6)


@given(plans(), BEATS, BEATS)
def test_time_only_runs_forward(plan: TempoPlan, beat: Fraction, other: Fraction) -> None:
    """A later beat is never earlier in seconds (but for a billionth, in which ramps are rounded)."""
    first, second = sorted((beat, other))
    assert plan.seconds(first) <= plan.seconds(second) + 1e-9


@given(plans())
def test_a_tempo_change_leaves_no_gap(plan: TempoPlan) -> None:
    """Each segment begins at the very second at which the one before it ends."""
    for before, after in pairwise(plan.segments):
        assert float(before.seconds(after.beat)) == pytest.approx(float(after.start_s), rel=1e-12)


@given(plans(), st.integers(0, 900), BPM)
def test_a_turn_leaves_the_past_alone(plan: TempoPlan, beat: int, bpm: Fraction) -> None:
    """What was played before a change of plan stays where it was."""
    turned = plan.turn(Fraction(beat), bpm)
    for k in range(5):
        earlier = Fraction(beat * k, 5)
        assert turned.seconds(earlier) == plan.seconds(earlier)
    assert turned.bpm_at(Fraction(beat)) == bpm


def test_two_hundred_bars_at_137_are_exact() -> None:
    """Beat 800 at 137 bpm falls at 48000/137 seconds exactly, on the nearest sample."""
    plan = constant_tempo(Fraction(137))
    assert plan.exact_seconds(Fraction(800)) == Fraction(48000, 137)
    assert [plan.frame(Fraction(b), 48000) for b in range(801)] == [
        round(Fraction(b * 60 * 48000, 137)) for b in range(801)
    ]


def test_stepped_plans_stay_exact() -> None:
    """Four beats at 60, four at 80 and four at 100 take 4 + 3 + 2.4 seconds exactly."""
    plan = stepped_tempo(Fraction(60), Fraction(100), Fraction(20), Fraction(4))
    assert plan.exact_seconds(Fraction(12)) == Fraction(94, 10)


@pytest.mark.parametrize(
    ("start", "end", "step", "tempos"),
    [
        (60, 75, 5, [60, 65, 70, 75]),
        (60, 72, 5, [60, 65, 70, 72]),
        (90, 80, 4, [90, 86, 82, 80]),
        (80, 80, 4, [80]),
        (60, 63, 10, [60, 63]),
    ],
)
def test_steps_land_on_the_end(start: int, end: int, step: int, tempos: list[int]) -> None:
    """The last step is cut short to land on the tempo asked for, upward or downward."""
    plan = stepped_tempo(Fraction(start), Fraction(end), Fraction(step), Fraction(8))
    assert [s.bpm for s in plan.segments] == tempos
    assert [s.beat for s in plan.segments] == [8 * k for k in range(len(tempos))]


@given(BPM, BPM, st.integers(1, 64))
@example(Fraction(60), Fraction(120), 64)
def test_a_smooth_ramp_is_the_integral_of_its_tempo(start: Fraction, end: Fraction, beats: int) -> None:
    """The closed form agrees with summing 60/bpm over thousands of slivers of a beat (midpoint rule)."""
    plan = smooth_tempo(start, end, Fraction(beats))
    slivers = 4000
    width = beats / slivers
    slope = float(end - start) / beats
    total = sum(60.0 / (float(start) + slope * (k + 0.5) * width) * width for k in range(slivers))
    assert plan.seconds(Fraction(beats)) == pytest.approx(total, rel=1e-6)


def test_a_smooth_ramp_rises_evenly_and_then_stands() -> None:
    """From 60 to 120 over 16 beats: 90 half way, 120 at the end and ever after."""
    plan = smooth_tempo(Fraction(60), Fraction(120), Fraction(16))
    assert [plan.bpm_at(Fraction(b)) for b in (0, 8, 16, 99)] == [60, 90, 120, 120]


@pytest.mark.parametrize("typed", ["84", "93.5", " 84 ", 84, 93.5, "187/2"])
def test_tempos_are_read_exactly(typed: str | float) -> None:
    """93.5 is 187/2 and nothing is rounded."""
    assert bpm_value(typed) in (84, Fraction(187, 2))


@pytest.mark.parametrize(
    "typed", ["", "fast", "1/0", "nan", "inf", "1e999999999", "19", "401", -84, 0, float("nan"), "8_4"]
)
def test_bad_tempos_are_refused(typed: str | float) -> None:
    """A tempo that is no number, or out of reach, is refused in one sentence; no power of ten can hang it."""
    with pytest.raises(BadMusic) as caught:
        bpm_value(typed)
    assert is_one_sentence(caught.value)


@pytest.mark.parametrize(("step", "every"), [(0, 4), (-5, 4), (5, 0), (Fraction(1, 10**9), 4)])
def test_steps_that_lead_nowhere_are_refused(step: int | Fraction, every: int) -> None:
    """No step, no length, or millions of steps: refused in one sentence."""
    with pytest.raises(BadMusic) as caught:
        stepped_tempo(Fraction(60), Fraction(120), Fraction(step), Fraction(every))
    assert is_one_sentence(caught.value)


def test_a_ramp_over_no_bars_is_refused() -> None:
    """A smooth ramp needs a length."""
    with pytest.raises(BadMusic) as caught:
        smooth_tempo(Fraction(60), Fraction(120), Fraction(0))
    assert is_one_sentence(caught.value)
