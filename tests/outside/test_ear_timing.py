"""What the ear says of time: against recordings whose every pluck is known, and against published arithmetic.

Sound font renders are late by 8 to 13 ms, more or less by note (references 8.8), and FluidSynth begins notes in blocks:
what is asked of them allows for that. The plain model is exact to the frame.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np
import pytest

from coach.ear.hearing import hear
from coach.ear.meant import Meant
from coach.ear.report import report
from tests.outside.hearing_judge import CHORDS, heard, heard_kind, judged, kind, meant, perfectly_heard, steel
from tests.outside.recordings import OPEN, RATE, Hand, Recording, Struck, by_model, missing, recorded, score

GUITARS = ("model", "steel")
HANDS = {
    "even": Hand(jitter_ms=4),
    "late ring finger": Hand(jitter_ms=4, late_ms={"a": 20}),
    "late middle finger": Hand(jitter_ms=4, late_ms={"m": 20}),
    "late thumb": Hand(jitter_ms=4, late_ms={"p": 20}),
    "loose middle finger": Hand(jitter_ms=4, jitters_ms={"m": 25}),
}


@cache
def take(guitar: str, hand: str) -> tuple[Recording, Any]:
    """Eight bars of "outside in" at 90 bpm by such a hand, and what the ear hears in it."""
    of = score("outside-in", CHORDS, 90, loops=2)
    recording = recorded(of, HANDS[hand], by_model if guitar == "model" else steel, seed=50)
    return recording, heard(recording)


def timing(told: Any) -> dict[str, Any]:
    """The report's figures of time, as the command prints them."""
    figures: dict[str, Any] = report(told).as_json()["timing"]
    return figures


def stumbles(told: Any, sort: str) -> list[tuple[int, Fraction]]:
    """Bar and beat of each stumble of one sort."""
    return [(s["bar"], Fraction(s["beat"])) for s in report(told).as_json()["stumbles"] if s["kind"] == sort]


needs_soundfont = pytest.mark.skipif(bool(missing()), reason=missing())


@pytest.fixture(autouse=True)
def tools(request: pytest.FixtureRequest) -> None:
    """Tests with a sound font are skipped where there is none."""
    guitar = getattr(request.node, "callspec", None)
    if missing() and guitar is not None and any(str(v).startswith(("steel", "nylon")) for v in guitar.params.values()):
        pytest.skip(missing())


# --- each pluck


PLACED = {  # kind: most ms for plucks alone, for all; measured
    "model, clean": (2, 5),  # 0.1, 3.3
    "model, sixteenths at 120": (2, 3),  # 0.2; no pinch
    "steel, clean": (5, 10),  # 1.7, 7.0
    "steel, clean, sixteenths at 120": (5, 5),  # 4.4; no pinch
    "nylon, clean": (5, 12),  # 1.5, 9.4
    "nylon, waltz with a pinch": (5, 8),  # 3.3, 4.5
}


@pytest.mark.parametrize("name", PLACED)
def test_hits_are_placed(name: str) -> None:
    """Nineteen of twenty hits in no pinch lie within so many ms of where they were plucked, the constant taken out."""
    error_ms = judged(heard_kind(name), kind(name)).alone95_ms
    assert error_ms <= PLACED[name][0]


@pytest.mark.parametrize("name", PLACED)
def test_pinches_are_placed(name: str) -> None:
    """And of all hits: thumb and finger of a pinch are some ms apart as well, which is harder to hear.

    With one time for both, 95 % of the hits of the steel strings would lie within 7.4 ms, of the nylon ones 9.0: no
    nearer than that is asked. Where a finger is late by habit it would be 15 to 20.
    """
    error_ms = judged(heard_kind(name), kind(name)).error95_ms
    assert error_ms <= PLACED[name][1]


@pytest.mark.parametrize("guitar", GUITARS)
def test_off_is_what_was_played(guitar: str) -> None:
    """`off_ms` follows the displacement truly played; its median is nought, as the constant latency is out of it."""
    recording, told = take(guitar, "even")
    true = {w.meant: w for w in perfectly_heard(recording).plucks}
    both = [(p.off_ms, true[p.meant].off_ms) for p in told.plucks if p.status == "hit"]
    assert len(both) >= 0.95 * len(told.plucks)
    apart = np.array([a - b for a, b in both])
    middle, worst = abs(np.median([a for a, _ in both])), np.quantile(np.abs(apart - np.median(apart)), 0.95)
    assert middle < 1
    assert worst <= (3 if guitar == "model" else 8)  # measured: below 2, 5.3


# --- by finger

A_FINGER_MS = 4.0


@pytest.mark.parametrize("guitar", GUITARS)
@pytest.mark.parametrize(("finger", "hand"), [("m", "late middle finger"), ("a", "late ring finger")])
def test_a_late_finger_is_told_on_its_own_row(finger: str, hand: str, guitar: str) -> None:
    """One finger 20 ms late: its row moves by 20 ms, the others stay; against the same hand without that habit.

    The middle finger plucks alone here, the ring finger always in a pinch with the thumb.
    """
    even, late = (timing(take(guitar, which)[1])["by_finger"] for which in ("even", hand))
    for row in "pima":
        moved = late[row]["bias_ms"] - even[row]["bias_ms"]
        assert moved == pytest.approx(20 if row == finger else 0, abs=A_FINGER_MS), row


@pytest.mark.parametrize("guitar", GUITARS)
def test_a_late_thumb_is_told_beside_the_fingers(guitar: str) -> None:
    """Half of the plucks are the thumb's, so what the constant is may be argued; it is 20 ms later than the fingers."""
    even, late = (timing(take(guitar, hand)[1])["by_finger"] for hand in ("even", "late thumb"))
    for finger in "ima":
        apart = [rows["p"]["bias_ms"] - rows[finger]["bias_ms"] for rows in (even, late)]
        assert apart[1] - apart[0] == pytest.approx(20, abs=A_FINGER_MS), finger


def test_a_loose_finger_is_told_on_its_own_row() -> None:
    """Each finger has figures of its own (fingers differ: Aoki et al. 2005, Motor Control 9:23-39).

    The middle finger's spread is the standard deviation truly played, within a third (or a robust estimate of it).
    """
    recording, told = take("model", "loose middle finger")
    rows = timing(told)["by_finger"]
    of_m = [p.off_ms for p in perfectly_heard(recording).plucks if p.meant.finger == "m"]
    assert rows["m"]["spread_ms"] == pytest.approx(np.std(of_m), rel=0.33)
    assert all(rows[finger]["spread_ms"] < 9 for finger in "pia")


def test_by_beat() -> None:
    """Rows for each beat played on; thumb and ring finger on 0, the middle finger alone on 1/2."""
    rows = timing(take("model", "late ring finger")[1])["by_beat"]
    assert set(rows) >= {"0", "1/2", "1", "3/2"}
    assert rows["0"]["bias_ms"] > rows["1"]["bias_ms"] + 5


# --- waiting and drifting


@needs_soundfont
def test_a_hesitation_is_told_once_and_loses_nothing() -> None:
    """Waits of 0.4, 1 and 0.6 s are told once each, where they were; nearly all that follows is heard as hit."""
    of, told = kind("steel, hesitations"), heard_kind("steel, hesitations")
    hits = judged(told, of).hits
    hesitated = [(bar, beat) for bar, beat, _ in of.truth.hesitations]
    assert len(hesitated) == 3
    assert hits >= 0.95
    assert stumbles(told, "hesitation") == hesitated
    after = [p.off_ms for p in told.plucks if p.status == "hit" and p.meant.bar >= 10]
    assert len(after) >= 15
    assert np.std(after) < 15


@pytest.mark.parametrize("name", ["model, clean", "steel, clean", "nylon, clean", "model, slowing down"])
def test_negative_control_nobody_hesitated(name: str) -> None:
    """No wait is told where there was none, and none for a steady slowing down."""
    assert stumbles(heard_kind(name), "hesitation") == []


def test_drift() -> None:
    """Slowing down by 1200 ms a minute is told within a tenth; a steady hand has less than 0.3 % of that kind.

    (Produced drift of steady players: about 0.2 %, threshold 0.3 %: Dahl & Madison, RPPW10. 0.3 % is 180 ms a minute.)
    """
    assert timing(heard_kind("model, slowing down"))["drift_ms_per_min"] == pytest.approx(1200, rel=0.1)
    assert abs(timing(heard_kind("model, clean"))["drift_ms_per_min"]) < 180


def test_a_wait_spoils_no_other_figure() -> None:
    """A third of a second before the pinch that begins each of four bars: spread and rows are those of the rest."""
    waits = tuple((bar, Fraction(0), 0.3) for bar in (1, 3, 4, 6))
    of = recorded(score("outside-in", CHORDS, 90, loops=2), Hand(jitter_ms=4, hesitations=waits), seed=70)
    told = heard(of)
    figures = timing(told)
    assert stumbles(told, "hesitation") == [(bar, beat) for bar, beat, _ in waits]
    assert figures["spread_ms"] < 10
    assert all(abs(row["bias_ms"]) < 8 for row in figures["by_finger"].values())
    assert abs(figures["drift_ms_per_min"]) < 180


@needs_soundfont
def test_a_click_on_the_recording_flatters_nobody() -> None:
    """A click is heard on each beat, as loud as the plucks: the thumb's spread is the thumb's, not the click's."""
    name = "steel, stumbling, click in it"
    true, told = (timing(x)["by_finger"]["p"]["spread_ms"] for x in (perfectly_heard(kind(name)), heard_kind(name)))
    assert told > 0.6 * true


# --- arithmetic


def test_asynchrony_of_an_annotated_guitar() -> None:
    """Three onsets and three beats of a published annotation at 119 bpm; the last is 5.3 ms before its beat.

    GuitarSet (Xi et al. 2018, ISMIR), the notes in mirdata's test file: 0.7612, 1.5073, 1.7806 s; beats 0.5042, 1.0084,
    1.5126. Sounded here by the model as three strings; written at the half beats next to them.
    """
    beat_s = 60 / 119
    notes = ((0.7612, 3, Fraction(3, 2)), (1.5073, 2, Fraction(3)), (1.7806, 1, Fraction(7, 2)))
    sound = by_model([Struck(t, t + 2, s, OPEN[s], 0.7, k) for k, (t, s, _) in enumerate(notes)], 4.0)
    rows = [Meant(0, beat, s, 0, OPEN[s], "ima"[k], float(beat) * beat_s) for k, (_, s, beat) in enumerate(notes)]
    told = hear((sound * 2).astype(np.float32), RATE, rows, offset_s=0.0)
    asynchrony = [p.off_ms + told.latency_ms for p in told.plucks]
    assert asynchrony == pytest.approx([1000 * (t - float(beat) * beat_s) for t, _, beat in notes], abs=1.5)
    assert asynchrony[1] == pytest.approx(-5.3, abs=1.5)


def test_a_constant_shift_is_latency_and_nothing_else() -> None:
    """120 ms later by a slow sound card: the latency takes it all; bias, spread and drift stay (Repp 2005).

    A steady asynchrony is not a fault: people tap tens of ms before a click (from memory; references 5.3).
    """
    recording, _ = take("model", "even")
    later = np.concatenate([np.zeros(round(0.12 * RATE), np.float32), recording.sound])
    rows = meant(recording.score)
    first, second = (hear(sound, RATE, rows, offset_s=recording.lead_s) for sound in (recording.sound, later))
    assert second.latency_ms - first.latency_ms == pytest.approx(120, abs=1)
    for figure in ("bias_ms", "spread_ms", "drift_ms_per_min"):
        assert timing(second)[figure] == pytest.approx(timing(first)[figure], abs=1)
    assert [p.status for p in first.plucks] == [p.status for p in second.plucks]


def test_three_percent_is_ordinary_and_ten_is_unsteady() -> None:
    """Intervals that spread by 3 % of an eighth at 90 bpm, and by 10 %: trained players have 2 to 4, others 4 to 8.

    (From memory: Repp 2005, Madison; references 5.5.) Jitter of the single pluck is the interval's over the root of 2.
    """
    of = score("outside-in", CHORDS, 90, loops=2)
    order = ("lost", "shaky", "held", "flowing")
    word = {}
    for share in (0.03, 0.10):
        hand = Hand(jitter_ms=1000 * share * (60 / 90 / 2) / 2**0.5)
        told = heard(recorded(of, hand, seed=60))
        word[share] = order.index(report(told).as_json()["verdict"])
        assert timing(told)["spread_ms"] == pytest.approx(hand.jitter_ms, rel=0.3)
    assert word[0.03] >= order.index("held")
    assert word[0.10] < word[0.03]


# --- the verdict


@pytest.mark.parametrize(
    "name", ["model, clean", "model, stumbling", "steel, clean", "steel, stumbling", "nylon, clean"]
)
def test_the_verdict_is_that_of_a_perfect_ear(name: str) -> None:
    """What is heard is judged as what was played would be."""
    of = kind(name)
    assert report(heard_kind(name)).as_json()["verdict"] == report(perfectly_heard(of)).as_json()["verdict"]
