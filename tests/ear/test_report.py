"""The report: bias, spread and drift are told apart; what is a stumble; what each verdict asks for."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from coach.ear.hearing import HIT, MISSED, UNSURE, WRONG, Extra, Heard, HeardPluck
from coach.ear.meant import Meant
from coach.ear.report import report

FINGERS = "pimp"


def take(offs: list[float], gap: float = 0.5) -> Heard:
    """Every pluck hit, one a `gap` in seconds, four a bar, fingers p i m p in turn; `offs` in ms."""
    plucks = []
    for k, off in enumerate(offs):
        meant = Meant(k // 4, Fraction(k % 4), 5 - k % 4, 0, 50, FINGERS[k % 4], k * gap)
        plucks.append(HeardPluck(meant, HIT, meant.string, 1 + k * gap + off / 1000, off))
    return Heard(0.0, tuple(plucks), (), 1.0)


def even(spread: float, count: int = 64) -> list[float]:
    """Lateness by chance, of the very spread asked for."""
    offs = np.random.default_rng(5).normal(0, 1, count)
    return list((offs - offs.mean()) / offs.std() * spread)


def test_a_constant_shift_changes_the_bias_alone() -> None:
    """Repp 2005: report bias and spread separately; a steady earliness is no rushing."""
    plain, early = report(take(even(10))).timing, report(take([o - 20 for o in even(10)])).timing
    assert early.whole.bias_ms == pytest.approx((plain.whole.bias_ms or 0) - 20)
    assert early.whole.spread_ms == pytest.approx(plain.whole.spread_ms)
    assert early.drift_ms_per_min == pytest.approx(plain.drift_ms_per_min)


def test_a_drift_is_no_spread() -> None:
    """1 % slow: 600 ms a minute, and the spread stays what it was."""
    timing = report(take([o + 5 * k for k, o in enumerate(even(4))])).timing
    assert timing.drift_ms_per_min == pytest.approx(600, abs=25)
    assert timing.whole.spread_ms == pytest.approx(4, abs=0.5)


def test_a_late_finger_stands_in_its_own_row() -> None:
    """Aoki et al. 2005: fingers differ; slowing the middle finger alone changes only its row."""
    offs = even(3)
    plain = report(take(offs)).timing.by_finger
    late = report(take([o + 30 * (k % 4 == 2) for k, o in enumerate(offs)])).timing.by_finger
    assert late["m"].bias_ms == pytest.approx((plain["m"].bias_ms or 0) + 30, abs=2)
    assert late["p"].bias_ms == pytest.approx(plain["p"].bias_ms, abs=2)
    assert list(late) == ["p", "i", "m"]


@pytest.mark.parametrize(("share", "verdict"), [(0.03, "flowing"), (0.075, "held"), (0.13, "shaky")])
def test_three_percent_of_an_interval_is_ordinary_and_ten_unsteady(share: float, verdict: str) -> None:
    """Repp 2005, numbers from memory: 2 to 4 % trained, 4 to 8 % untrained."""
    found = report(take(even(share * 500, 400)))
    assert found.timing.unsteady == pytest.approx(share, rel=0.15)
    assert found.verdict == verdict


def test_a_slow_wander_of_the_tempo_is_not_unsteady() -> None:
    """Without a click everybody's tempo wanders: 120 ms to and fro in half a minute."""
    found = report(take([120 * np.sin(k / 10) for k in range(64)]))
    assert found.verdict == "flowing"
    assert (found.timing.unsteady or 0) < 0.03


def test_a_pause_is_one_hesitation_where_it_was() -> None:
    """A pluck 500 ms late, those after it in place again."""
    offs = even(3)
    offs[22] = 500.0
    found = report(take(offs))
    assert [(s.bar, s.beat, s.kind) for s in found.stumbles] == [(5, Fraction(2), "hesitation")]
    assert (found.timing.whole.spread_ms or 0) < 4
    assert found.verdict == "held"


def test_who_waits_before_a_pinch_waits_with_both_fingers() -> None:
    """Neither pluck of it counts in the figures, and it is one hesitation."""
    heard = take([*even(3, 32), 400.0, *even(3, 31)])
    plucks = list(heard.plucks)
    meant = replace(plucks[32].meant, string=1, finger="a")
    plucks.insert(33, replace(plucks[32], meant=meant, string=1))
    found = report(replace(heard, plucks=tuple(plucks)))
    assert [s.kind for s in found.stumbles] == ["hesitation"]
    assert (found.timing.whole.spread_ms or 99) < 4


def test_what_was_missed_wrong_or_too_much_is_a_stumble_and_a_knock_is_none() -> None:
    """One of each, in order of place."""
    heard = take(even(3))
    plucks = list(heard.plucks)
    plucks[3] = replace(plucks[3], status=MISSED, string=None, time_s=None, off_ms=None)
    plucks[9] = replace(plucks[9], status=WRONG, string=1)
    plucks[12] = replace(plucks[12], status=UNSURE, string=None)
    extras = (Extra(1 + 15.25, 2), Extra(1 + 20.2, None))
    found = report(replace(heard, plucks=tuple(plucks), extra=extras))
    assert [(s.bar, str(s.beat), s.kind, s.string) for s in found.stumbles] == [
        (0, "3", "missed", 2),
        (2, "1", "wrong", 1),
        (7, "2", "extra", 2),
    ]


VERDICTS_BY_MISSED = [(0, "flowing"), (1, "flowing"), (4, "held"), (16, "shaky"), (40, "lost")]


@pytest.mark.parametrize(("missed", "verdict"), VERDICTS_BY_MISSED)
def test_verdicts_by_what_was_missed(missed: int, verdict: str) -> None:
    """Of 64 plucks."""
    heard = take(even(3))
    gone = set(np.linspace(1, 62, missed).astype(int)) if missed else set()
    plucks = tuple(
        replace(p, status=MISSED, string=None, time_s=None, off_ms=None) if k in gone else p
        for k, p in enumerate(heard.plucks)
    )
    assert report(replace(heard, plucks=plucks)).verdict == verdict


def test_the_document_has_the_keys_of_the_contract() -> None:
    """Names, and what they hold."""
    told = report(take(even(3))).as_json()
    assert {"latency_ms", "plucks", "extra", "timing", "stumbles", "verdict"} <= set(told)
    row = {"bar", "beat", "meant_string", "string", "fret", "finger", "status", "time_s", "off_ms"}
    assert set(told["plucks"][0]) == row
    assert {"bias_ms", "spread_ms", "by_finger", "by_beat", "drift_ms_per_min"} <= set(told["timing"])
    assert set(told["timing"]["by_finger"]["p"]) == {"bias_ms", "spread_ms"}
    assert list(told["timing"]["by_beat"]) == ["0", "1", "2", "3"]


def test_nothing_meant_or_nothing_heard_is_lost() -> None:
    """No numbers are made up where there are none."""
    heard = take(even(3))
    gone = tuple(replace(p, status=MISSED, string=None, time_s=None, off_ms=None) for p in heard.plucks)
    for plucks in ((), gone):
        found = report(Heard(0.0, plucks, ()))
        assert found.verdict == "lost"
        assert found.timing.whole.bias_ms is None
        assert found.timing.drift_ms_per_min is None
